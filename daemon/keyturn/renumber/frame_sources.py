"""What each frame of a part is made from, at a given rate and for one panel."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.frame_source import Box, Source
from keyturn.flatten.motion import Pose, SpriteMotion, poses
from keyturn.manifest.drawn_frames import Crossfade, Glide, Pan, Sprite
from keyturn.manifest.models import FILE_NAME
from keyturn.normalize.fit import Fit, enlargement
from keyturn.normalize.reading.clips import resample
from keyturn.renumber import pans_and_dissolves
from keyturn.renumber.clip_timing import can_show_each_once, pictures_between, retiming_note
from keyturn.renumber.parts import JobArt, PartArt
from keyturn.shop.reasons import Reason

Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class FrameSources:
    """The frames of the job's art in `root` for a panel of `size` (width, height) pixels.

    `rate` in the methods is how many pictures a second the radio really shows, so that clips and drawn frames last as
    long on the radio as the artist meant.
    """

    art: JobArt
    root: Path
    size: Size

    def sources(self, part: PartArt, rate: float) -> tuple[Source, ...]:
        """Return one source for each frame of the part, in playing order."""
        if part.hold_of:
            return self.sources(part.hold_of, rate)[-1:]
        entry = part.entry
        frames = self._glide(entry.glide, rate) if entry.glide else self._pictures(part, rate)
        if entry.backdrop:
            backdrop = self.root / entry.backdrop, entry.backdrop
            frames = tuple(replace(source, backdrop=backdrop) for source in frames)
        if entry.crossfade:
            frames = self._dissolving(frames, entry.crossfade, rate)
        rests = part.plays == 1 or part.pause_s > 0
        return pans_and_dissolves.reordered(
            frames, reverse=entry.reverse, there_and_back=entry.there_and_back, rests=rests
        )

    def _pictures(self, part: PartArt, rate: float) -> tuple[Source, ...]:
        if part.cells:
            return tuple(Source(self.root / name, name, cell=cell) for name, cell in part.cells)
        if self._is_logo_alone(part) and (logo := self.logo()):
            return (logo,)
        stills = tuple(Source(self.root / name, name) for name in part.names)
        if part.clip:
            return tuple(replace(stills[0], index=index) for index in self._clip_indices(part, rate))
        return self._pan(stills[0], part.entry.pan, rate) if part.entry.pan else stills

    def _is_logo_alone(self, part: PartArt) -> bool:
        """Whether the part is the whole job, and the boot logo all that it shows: it stands there with its words."""
        alone = len(self.art.parts) == 1 and part.names == (self.art.logo,)
        return alone and not part.clip and part.entry.pan is None

    def _clip_indices(self, part: PartArt, rate: float) -> tuple[int, ...]:
        """Return the index of the clip's picture that each frame shows."""
        durations, pictures = self._clip_cut(part)
        start_s, end_s = part.entry.start or 0.0, sum(durations) / 1000
        if can_show_each_once(durations, pictures, min(end_s, part.entry.stop or end_s) - start_s, rate):
            return tuple(pictures)
        return resample(durations, rate, start_s, part.entry.stop)

    def _clip_cut(self, part: PartArt) -> tuple[tuple[int, ...], range]:
        """Return the duration of each picture of the part's clip, in ms, and the pictures between start and stop."""
        durations = self.art.probes[part.names[0]].durations_ms
        return durations, pictures_between(durations, part.entry.start or 0.0, part.entry.stop)

    def retiming_notes(self, rate: float) -> list[Reason]:
        """Return a note on each clip that is not shown picture by picture."""
        found = []
        for part in self.art.parts:
            if part.clip and not part.hold_of:
                durations, pictures = self._clip_cut(part)
                shown = self._clip_indices(part, rate)
                found.append(retiming_note(part.names[0], durations, pictures, shown, rate))
        return [reason for reason in found if reason]

    def _pan(self, still: Source, pan: Pan, rate: float) -> tuple[Source, ...]:
        first, last = self._pan_ends(still.name, pan)
        views = pans_and_dissolves.pan_boxes(first, last, pan.count(rate), pan.ease)
        return tuple(replace(still, view=view) for view in views)

    def _pan_ends(self, name: str, pan: Pan) -> tuple[Box, Box]:
        """Return the parts of the picture that the pan's first and last frame show, in pixels of the picture."""
        picture = self.art.probes[name].size
        first, last = (pans_and_dissolves.panel_shaped(area, picture, self.size) for area in (pan.start, pan.stop))
        return first, last

    def _dissolving(self, frames: tuple[Source, ...], crossfade: Crossfade, rate: float) -> tuple[Source, ...]:
        """Return the frames with a dissolve before them, after them or both; each shows its other picture alone once.

        The logo is shown as it stands before the animation, without the part's backdrop.
        """
        first, last = frames[0], frames[-1]
        logo = self.logo()
        shares = pans_and_dissolves.dissolve_shares(crossfade.count(rate))[:-1]
        if start := crossfade.start:
            other = (
                logo if logo and start == self.art.logo else Source(self.root / start, start, backdrop=first.backdrop)
            )
            frames = (other, *(replace(other, into=(first, share)) for share in shares), *frames)
        if to := crossfade.to:
            other = Source(self.root / to, to, backdrop=last.backdrop)
            frames = (*frames, *(replace(last, into=(other, share)) for share in shares), other)
        return frames

    def logo(self) -> Source | None:
        """Return the job's own logo with its words; None where it has none but the words on frame 1."""
        if self.art.logo is None:
            return None
        return Source(self.root / self.art.logo, self.art.logo, figures=self.logo_words())

    def logo_words(self) -> tuple[Placed, ...]:
        """Return the words on the boot logo."""
        wide, high = self.size
        placed = []
        for text in self.art.words.logo:
            figure, times = self.art.words.figure(text, self.size)
            (x, y), height = text.place, text.size * high * times
            placed.append(Placed(figure, Pose(x * wide, y * high, height, text.turn, 1.0, text.pivot)))
        return tuple(placed)

    def _glide(self, glide: Glide, rate: float) -> tuple[Source, ...]:
        frames = glide.count(rate)
        placed = [
            [Placed(figure, pose) for pose in poses(self._motion(sprite, times), frames)]
            for sprite in glide.sprites
            for figure, times in [self._figure(sprite)]
        ]
        backdrop = self._glide_backdrop(glide)
        return tuple(replace(backdrop, figures=figures) for figures in zip(*placed, strict=True))

    def _glide_backdrop(self, glide: Glide) -> Source:
        if glide.backdrop:
            return Source(self.root / glide.backdrop, glide.backdrop)
        return Source(None, next(iter(glide.pictures()), FILE_NAME))

    def _figure(self, sprite: Sprite) -> tuple[Figure, float]:
        """Return the sprite's figure, and by what its sizes are to be multiplied."""
        if sprite.art:
            return Figure(sprite.art, self.root / sprite.art), 1.0
        return self.art.words.figure(sprite, self.size)

    def _motion(self, sprite: Sprite, times: float) -> SpriteMotion:
        """Return the sprite's motion in panel pixels; the manifest states it in shares of the panel.

        Its sizes are multiplied by `times`.
        """
        wide, high = self.size
        first, last = sprite.size
        return SpriteMotion(
            points=tuple((x * wide, y * high) for x, y in sprite.path),
            bend=sprite.bend,
            ease=sprite.ease,
            sizes=(first * high * times, last * high * times),
            turns=sprite.turn,
            pivot=sprite.pivot,
            bob=(sprite.bob[0] * high, sprite.bob[1]),
            repeat=sprite.repeat,
            fade=sprite.fade,
        )

    # -- how large the art must be ------------------------------------------------------------------

    def enlarged(self, fit: Fit) -> dict[str, float]:
        """Return by how much each picture is enlarged, by name: panel pixels a picture pixel, across.

        A picture that is used several times has the largest of its factors.
        """
        logo = self.art.logo
        factors = {logo: enlargement(self.art.probes[logo].size, fit)} if logo else {}
        for name, factor in itertools.chain.from_iterable(self._enlarged(part, fit) for part in self.art.parts):
            factors[name] = max(factor, factors.get(name, 0.0))
        return factors

    def _enlarged(self, part: PartArt, fit: Fit) -> Iterator[tuple[str, float]]:
        probes, entry = self.art.probes, part.entry
        dissolves = [entry.crossfade.start, entry.crossfade.to] if entry.crossfade else []
        filling = [entry.backdrop, *dissolves, entry.glide and entry.glide.backdrop]
        for name in (*filling, *(() if entry.pan or part.cells else part.names)):
            if name:
                yield name, enlargement(probes[name].size, fit)
        for name, (left, top, right, bottom) in part.cells:
            yield name, enlargement((right - left, bottom - top), fit)
        if entry.pan:
            boxes = self._pan_ends(part.names[0], entry.pan)
            yield part.names[0], max(self.size[0] / (right - left) for left, _, right, _ in boxes)
        for sprite in entry.glide.sprites if entry.glide else ():
            if sprite.art:
                yield sprite.art, max(sprite.size) * self.size[1] / probes[sprite.art].size[1]
