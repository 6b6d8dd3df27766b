"""The parts of a plan for one radio: their desc.txt rows and frame sources at a given rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from keyturn.flatten.frame_source import Source
from keyturn.manifest.models import Manifest
from keyturn.normalize.fit import Fit
from keyturn.radio.boot import BootModel
from keyturn.radio.desc import PartType, Row
from keyturn.radio.pacing import Pacing, pacing_of
from keyturn.radio.timeline import PlayedPart, Timeline
from keyturn.renumber.frame_sources import FrameSources
from keyturn.renumber.order import part_name
from keyturn.renumber.parts import UNTIL_BOOTED, JobArt, PartArt
from keyturn.shop.radio_profile import Radio


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """A part as the radio gets it.

    `row` is its line in desc.txt, `sources` has one entry a frame in playing order, `pause_s` is the pause that the
    manifest asks for, `art` says where the pictures come from. `places` are the frames' indices in the part as it was
    drawn, where frames were left out.
    """

    row: Row
    sources: tuple[Source, ...]
    pause_s: float
    art: str
    places: tuple[int, ...] = ()

    def only(self, kept: Sequence[int]) -> PlannedPart:
        """Return the part with the frames at the indices `kept` alone."""
        places = self.places or range(len(self.sources))
        return replace(self, sources=tuple(self.sources[i] for i in kept), places=tuple(places[i] for i in kept))

    @property
    def steps(self) -> tuple[int, ...]:
        """How many frames of the part as it was drawn lie from each frame to the next: 1 where none was left out."""
        return tuple(b - a for a, b in pairwise(self.places or range(len(self.sources))))

    @property
    def played(self) -> PlayedPart:
        return PlayedPart(type=self.row.type, count=self.row.count, pause=self.row.pause, frames=len(self.sources))


def pacing(radio: Radio, fps: int) -> Pacing:
    """Return how the radio times frames at `fps`, with the cost of decoding and drawing one frame of its panel."""
    return pacing_of(radio, radio.player, fps)


def pause_count(radio: Radio, pause_s: float, fps: int) -> int:
    """Return the pause as desc.txt states it: the nearest whole number of frames, or of seconds on some radios."""
    counted = pause_s if radio.firmware.pause_unit == "seconds" else pause_s * fps
    return math.floor(counted + 0.5)


def fit_for(manifest: Manifest, radio: Radio) -> Fit:
    """Return how the manifest's art meets the radio's panel."""
    return Fit(radio.panel.size, manifest.fit, manifest.focus)


@dataclass(frozen=True, slots=True)
class PlanInputs:
    """What a plan is made from. `root` is the drop's folder, `boot` the radio's boot times.

    At fewer than `slowest_fps` frames a second a motion is seen as a row of pictures.
    """

    manifest: Manifest
    art: JobArt
    root: Path
    radio: Radio
    boot: BootModel
    slowest_fps: int

    @property
    def frame_sources(self) -> FrameSources:
        return FrameSources(self.art, self.root, self.radio.panel.size)

    @property
    def finish(self) -> float:
        """The share of starts (0 to 1) in which the parts that play once must finish."""
        return self.manifest.motion.finish

    def pacing_at(self, fps: int) -> Pacing:
        return pacing(self.radio, fps)

    def shown_rate(self, fps: int) -> float:
        """Return the pictures a second that the radio really shows at `fps`.

        Additive players add the cost of each picture to its time, so the rate is lower than `fps`.
        """
        return 1 / self.pacing_at(fps).interval_s

    def parts_at(self, fps: int) -> tuple[PlannedPart, ...]:
        """Return the rows and frames at `fps`.

        Clips are resampled to the rate that the radio really shows, drawn frames are counted by it, and pauses become
        whole numbers.
        """
        return tuple(self._planned(art, number, fps) for number, art in enumerate(self.art.parts))

    def played_at(self, fps: int) -> tuple[PlayedPart, ...]:
        return tuple(part.played for part in self.parts_at(fps))

    def once_only_s(self, parts: Sequence[PlannedPart], fps: int) -> float:
        """Return how many seconds the parts that play once take."""
        played = tuple(part.played for part in parts)
        return Timeline(played, self.pacing_at(fps), self.radio.boot.longest).once_only_end_s

    def in_time(self, parts: Sequence[PlannedPart], fps: int) -> bool:
        """Whether the parts that play once finish in as many starts as the manifest asks for."""
        return self.boot.share_finished(self.once_only_s(parts, fps)) >= self.finish

    def _planned(self, art: PartArt, number: int, fps: int) -> PlannedPart:
        row = Row(
            type=self._type(art),
            count=0 if art.plays == UNTIL_BOOTED else int(art.plays),
            pause=pause_count(self.radio, art.pause_s, fps),
            path=part_name(number),
        )
        return PlannedPart(row, self.frame_sources.sources(art, self.shown_rate(fps)), art.pause_s, art.art)

    def _type(self, art: PartArt) -> PartType:
        return "c" if art.hold_screen and self.radio.player.knows("c") else "p"
