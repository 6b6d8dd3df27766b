"""A part's frames at a rate, for one panel: which picture each is made from and what is done with it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.frame_source import Box, Source
from keyturn.flatten.motion import Track, poses
from keyturn.manifest.drawn_frames import Crossfade, Glide, Pan, Sprite
from keyturn.manifest.models import FILE_NAME
from keyturn.manifest.values import rgb
from keyturn.normalize.fit import Fit, enlargement
from keyturn.normalize.reading.clips import resample
from keyturn.renumber import pans_and_dissolves
from keyturn.renumber.clip_timing import keeps_pace, retimed, stretch
from keyturn.renumber.parts import JobArt, PartArt
from keyturn.shop.reasons import Reason

Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Footage:
    """The job's art in `root`, to be shown on a panel of `size` pixels.

    `rate` is how many pictures a second the radio really shows: what lasts a time then lasts it on the radio.
    """

    art: JobArt
    root: Path
    size: Size

    def sources(self, part: PartArt, rate: float) -> tuple[Source, ...]:
        """One a frame, in playing order."""
        if part.holds:
            return self.sources(part.holds, rate)[-1:]
        said = part.said
        frames = self._glide(said.glide, rate) if said.glide else self._pictures(part, rate)
        if said.backdrop:
            behind = self.root / said.backdrop, said.backdrop
            frames = tuple(replace(source, backdrop=behind) for source in frames)
        if said.crossfade:
            frames += self._dissolve(frames[-1], said.crossfade, rate)
        rests = part.plays == 1 or part.pause_s > 0
        return pans_and_dissolves.reordered(
            frames, reverse=said.reverse, there_and_back=said.there_and_back, rests=rests
        )

    def _pictures(self, part: PartArt, rate: float) -> tuple[Source, ...]:
        stills = tuple(Source(self.root / name, name) for name in part.names)
        if part.clip:
            return tuple(replace(stills[0], index=index) for index in self._shown(part, rate))
        return self._pan(stills[0], part.said.pan, rate) if part.said.pan else stills

    def _shown(self, part: PartArt, rate: float) -> tuple[int, ...]:
        """The pictures of the part's clip, one a beat."""
        durations, frames = self._stretch(part)
        start_s, end_s = part.said.start or 0.0, sum(durations) / 1000
        if keeps_pace(durations, frames, min(end_s, part.said.stop or end_s) - start_s, rate):
            return tuple(frames)
        return resample(durations, rate, start_s, part.said.stop)

    def _stretch(self, part: PartArt) -> tuple[tuple[int, ...], range]:
        """Of the part's clip how long each picture stands, in milliseconds, and the pictures that `said` asks for."""
        durations = self.art.probes[part.names[0]].durations_ms
        return durations, stretch(durations, part.said.start or 0.0, part.said.stop)

    def retimed(self, rate: float) -> list[Reason]:
        """What `rate` makes of the clips: a note on each that is not shown picture by picture."""
        found = []
        for part in self.art.parts:
            if part.clip and not part.holds:
                durations, frames = self._stretch(part)
                found.append(retimed(part.names[0], durations, frames, self._shown(part, rate), rate))
        return [reason for reason in found if reason]

    def _pan(self, still: Source, pan: Pan, rate: float) -> tuple[Source, ...]:
        views = pans_and_dissolves.stretches(*self.pan_ends(still.name, pan), pan.count(rate), pan.ease)
        return tuple(replace(still, view=view) for view in views)

    def pan_ends(self, name: str, pan: Pan) -> tuple[Box, Box]:
        picture = self.art.probes[name].size
        return pans_and_dissolves.framed(pan.start, picture, self.size), pans_and_dissolves.framed(
            pan.stop, picture, self.size
        )

    def _dissolve(self, last: Source, crossfade: Crossfade, rate: float) -> tuple[Source, ...]:
        other = Source(self.root / crossfade.to, crossfade.to, backdrop=last.backdrop)
        shares = pans_and_dissolves.dissolve_shares(crossfade.count(rate))
        return (*(replace(last, into=(other, share)) for share in shares[:-1]), other)

    def _glide(self, glide: Glide, rate: float) -> tuple[Source, ...]:
        frames = glide.count(rate)
        ways = [
            [Placed(self._figure(sprite), pose) for pose in poses(self._track(sprite), frames)]
            for sprite in glide.sprites
        ]
        still = self._still(glide)
        return tuple(replace(still, figures=figures) for figures in zip(*ways, strict=True))

    def _still(self, glide: Glide) -> Source:
        if glide.backdrop:
            return Source(self.root / glide.backdrop, glide.backdrop)
        return Source(None, next(iter(glide.named()), FILE_NAME))

    def _figure(self, sprite: Sprite) -> Figure:
        if sprite.art:
            return Figure(sprite.art, self.root / sprite.art)
        return Figure(FILE_NAME, text=sprite.text or "", colour=rgb(sprite.colour))

    def _track(self, sprite: Sprite) -> Track:
        wide, high = self.size
        small, large = sprite.size
        return Track(
            points=tuple((x * wide, y * high) for x, y in sprite.path),
            bend=sprite.bend,
            ease=sprite.ease,
            sizes=(small * high, large * high),
            turns=sprite.turn,
            bob=(sprite.bob[0] * high, sprite.bob[1]),
            repeat=sprite.repeat,
            fade=sprite.fade,
        )

    # -- how large the art must be ------------------------------------------------------------------

    def enlarged(self, fit: Fit) -> dict[str, float]:
        """How many panel pixels a pixel of each picture becomes across; the most, where it is used twice."""
        logo = self.art.logo
        factors = {logo: enlargement(self.art.probes[logo].size, fit)} if logo else {}
        for name, factor in itertools.chain.from_iterable(self._enlarged(part, fit) for part in self.art.parts):
            factors[name] = max(factor, factors.get(name, 0.0))
        return factors

    def _enlarged(self, part: PartArt, fit: Fit) -> Iterator[tuple[str, float]]:
        probes, said = self.art.probes, part.said
        filling = [said.backdrop, said.crossfade and said.crossfade.to, said.glide and said.glide.backdrop]
        for name in (*filling, *(() if said.pan else part.names)):
            if name:
                yield name, enlargement(probes[name].size, fit)
        if said.pan:
            boxes = self.pan_ends(part.names[0], said.pan)
            yield part.names[0], max(self.size[0] / (right - left) for left, _, right, _ in boxes)
        for sprite in said.glide.sprites if said.glide else ():
            if sprite.art:
                yield sprite.art, max(sprite.size) * self.size[1] / probes[sprite.art].size[1]
