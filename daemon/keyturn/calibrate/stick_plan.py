"""What a calibration stick shows, in which order: its frames' numbers, its parts, and what is drawn in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

from keyturn.radio.desc import Row
from keyturn.renumber.order import part_name

MOST_FRAMES = 16_382
"""The highest number that a frame's code can state: 14 bits, less the two numbers below."""

LOGO, OVER = 0, MOST_FRAMES + 1
"""The numbers in the codes of the boot logo, and of the picture that stays after the count."""

Drawn = Literal["plain", "detailed"]

PLAIN_S = 2
"""Seconds of plain frames before the detailed ones, at the nominal rate."""

DETAILED = 10
"""Most frames in the detailed part. It is played twice, so the radio may keep a texture of each of them."""

PAUSE = 1
"""What the row of the detailed part has in its place for a pause: one frame's time, or one second."""


@dataclass(frozen=True, slots=True)
class CountPart:
    """A part of the count: frames `first` to `last`, played `plays` times with the row's `pause` after each play."""

    first: int
    last: int
    drawn: Drawn
    plays: int = 1
    pause: int = 0

    @property
    def frames(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class StickPlan:
    """A stick's rate, its frames (numbered from 1) and its parts in order; after them `OVER` stays until booted.

    A stick for reading `by_eye` counts plain frames alone. Any other has, after the first plain frames, a part of
    detailed frames that is played twice, with a pause after each play: it shows what decoding costs, whether a later
    play decodes again, and in what a pause is counted.
    """

    fps: int
    frames: int
    by_eye: bool
    parts: tuple[CountPart, ...]

    @classmethod
    def of(cls, fps: int, frames: int = MOST_FRAMES, *, by_eye: bool = False) -> Self:
        """Return the plan of a stick of this rate. A count too short for more than plain frames has no other part."""
        plain, detailed = PLAIN_S * fps, min(DETAILED, max(2, fps))
        if by_eye or frames <= plain + detailed:
            return cls(fps, frames, by_eye, (CountPart(1, frames, "plain"),))
        second = CountPart(plain + 1, plain + detailed, "detailed", 2, PAUSE)
        third = CountPart(second.last + 1, frames, "plain")
        return cls(fps, frames, by_eye, (CountPart(1, plain, "plain"), second, third))

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows of desc.txt; the last one is the picture that stays."""
        counted = [Row("p", part.plays, part.pause, part_name(n)) for n, part in enumerate(self.parts)]
        return (*counted, Row("p", 0, 0, part_name(len(counted))))

    def part_of(self, number: int) -> CountPart | None:
        """Return the part that frame `number` belongs to; None for the logo and for what stays after the count."""
        return next((part for part in self.parts if part.first <= number <= part.last), None)
