"""What the screen shows, frame by frame, from the first frame until the radio takes the screen back.

Times are seconds from the first frame's appearance. Inside, all is whole nanoseconds, as in the reference player
(Android Open Source Project, frameworks/base, cmds/bootanimation), so indices are exact.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from keyturn.radio import player_loop
from keyturn.radio.desc import PartType

SECOND = 1_000_000_000


def _ns(seconds: float) -> int:
    return round(seconds * SECOND)


@dataclass(frozen=True, slots=True)
class Pacing:
    """The beat of a player. `cost_s` is the time to decode and draw one frame.

    First-generation players wait a frame's time after drawing (additive); later ones keep a fixed beat.
    """

    fps: int
    mode: Literal["additive", "fixed-beat"]
    cost_s: float = 0.0
    pause_unit: Literal["frames", "seconds"] = "frames"

    def __post_init__(self) -> None:
        if self.fps < 1 or not 0 <= self.cost_s < math.inf:
            raise ValueError(f"fps {self.fps} must be at least 1 and the cost {self.cost_s} s finite, not below 0")

    @property
    def frame_ns(self) -> int:
        """A frame's time, rounded down to whole nanoseconds as the player's integer division does."""
        return SECOND // self.fps

    @property
    def interval_ns(self) -> int:
        """Nanoseconds from one frame to the next."""
        cost = _ns(self.cost_s)
        return self.frame_ns + cost if self.mode == "additive" else max(self.frame_ns, cost)

    @property
    def interval_s(self) -> float:
        """Seconds from one frame to the next."""
        return self.interval_ns / SECOND

    def pause_ns(self, pause: int) -> int:
        """Return the nanoseconds of a row's pause. In frames, it lacks the cost of drawing: nothing is drawn."""
        return pause * (SECOND if self.pause_unit == "seconds" else self.frame_ns)

    def pause_s(self, pause: int) -> float:
        """Return the seconds of a row's pause."""
        return self.pause_ns(pause) / SECOND


@dataclass(frozen=True, slots=True)
class PlayedPart:
    """A row as it plays: `count` plays (0: until booted) of `frames` frames, `pause` after each play.

    An `f` part is paced as `p`. Its fade changes brightness only; the length of newer rows' fades is left out.
    """

    type: PartType
    count: int
    pause: int
    frames: int

    def __post_init__(self) -> None:
        if self.frames < 1 or self.count < 0 or self.pause < 0:
            raise ValueError(f"{self}: needs a frame, and a count and a pause not below 0")


@dataclass(frozen=True, slots=True)
class ShownPicture:
    """One picture, on the screen from `start_s` up to but without `end_s`. All indices count from 0.

    `pausing`: the last frame shown stays through the pause after its play.
    """

    part: int
    play: int
    frame: int
    start_s: float
    end_s: float
    pausing: bool


@dataclass(frozen=True, slots=True)
class OnScreenAtCut:
    """What is on the screen when the boot ends. All indices count from 0.

    `mid_motion`: a part that plays a number of times has frames or plays left that are not shown. A part of type c
    finishes, so it is never cut. Where the animation was over before the boot, the frame is the last that it showed.
    """

    part: int
    play: int
    frame: int
    mid_motion: bool


@dataclass(frozen=True)
class Timeline:
    """How `parts` play in a start whose boot ends `boot_s` after the first frame. Costs one step a part."""

    parts: tuple[PlayedPart, ...]
    pacing: Pacing
    boot_s: float

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("an animation needs a part")
        if not 0 <= self.boot_s < math.inf:
            raise ValueError(f"the boot must end at a finite time not before the first frame, not {self.boot_s}")

    @cached_property
    def _runs(self) -> tuple[player_loop.PartRun, ...]:
        pauses = [self.pacing.pause_ns(part.pause) for part in self.parts]
        return player_loop.play(self.parts, self.pacing.interval_ns, pauses, self._boot)

    @cached_property
    def _starts(self) -> list[int]:
        return [run.start for run in self._runs]

    @property
    def _end(self) -> int:
        return self._runs[-1].end

    @property
    def _boot(self) -> int:
        return _ns(self.boot_s)

    def at(self, t_s: float) -> ShownPicture | None:
        """Return what is on the screen at `t_s`; None before the first frame and when the animation has ended."""
        return self._at(_ns(t_s))

    def _at(self, moment: int) -> ShownPicture | None:
        if not 0 <= moment < self._end:
            return None
        run = self._runs[bisect_right(self._starts, moment) - 1]
        return _shown(run.part, run.at(moment))

    def shown(self, until_s: float | None = None) -> Iterator[ShownPicture]:
        """Yield every picture in order: those that begin before `until_s`, or all."""
        until = self._end if until_s is None else _ns(until_s)
        for run in self._runs:
            for span in run.spans():
                if span.start >= until:
                    return
                yield _shown(run.part, span)

    @property
    def _once_only_end(self) -> int:
        endless = next((i for i, part in enumerate(self.parts) if part.count == 0), None)
        once, pacing = self.parts[:endless], self.pacing
        if not once:
            return 0
        length = sum(p.count * (p.frames * pacing.interval_ns + pacing.pause_ns(p.pause)) for p in once)
        return length - pacing.pause_ns(once[-1].pause)

    @property
    def once_only_end_s(self) -> float:
        """When the last frame before the first endless part has stood its own beat, if the boot never ended.

        Pauses between plays and parts count, the very last does not: nothing moves any more. 0 without such parts.
        """
        return self._once_only_end / SECOND

    @property
    def cut(self) -> OnScreenAtCut:
        """What is on the screen when the boot ends."""
        seen = self._at(min(self._boot, self._end - 1))
        assert seen is not None  # every run has at least one beat
        part = self.parts[seen.part]
        last = seen.play == part.count - 1 and seen.frame == part.frames - 1
        return OnScreenAtCut(
            seen.part, seen.play, seen.frame, mid_motion=part.count != 0 and part.type != "c" and not last
        )

    @property
    def end_s(self) -> float:
        """When the screen is released; before `boot_s` where no part is endless and all have played."""
        return self._end / SECOND

    @property
    def delay_s(self) -> float:
        """Seconds for which the screen is held after the boot."""
        return max(0, self._end - self._boot) / SECOND


def _shown(part: int, span: player_loop.Span) -> ShownPicture:
    return ShownPicture(part, span.play, span.frame, span.start / SECOND, span.end / SECOND, span.pausing)
