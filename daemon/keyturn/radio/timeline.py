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

from keyturn.radio import player_loop
from keyturn.radio.pacing import SECOND, Pacing, PlayedPart, in_ns
from keyturn.radio.player_loop import Course, PlayRun

__all__ = ["OnScreenAtCut", "Pacing", "PlayedPart", "ShownPicture", "Timeline"]


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
    """How `parts` play in a start whose boot ends `boot_s` after the first frame. Costs a few steps a part."""

    parts: tuple[PlayedPart, ...]
    pacing: Pacing
    boot_s: float

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("an animation needs a part")
        if not 0 <= self.boot_s < math.inf:
            raise ValueError(f"the boot must end at a finite time not before the first frame, not {self.boot_s}")

    @cached_property
    def _course(self) -> Course:
        pauses = [self.pacing.pause_ns(part.pause) for part in self.parts]
        return player_loop.play(self.parts, self.pacing.rhythm, pauses, self._boot + self._ahead)

    @cached_property
    def _ahead(self) -> int:
        """Nanoseconds from the start of work to the first frame's appearance: pauses of empty rows and its work."""
        ahead = 0
        for part in self.parts:
            if part.frames:
                return ahead + self.pacing.rhythm.first_work
            ahead += part.count * self.pacing.pause_ns(part.pause)
        return ahead

    @cached_property
    def _stretches(self) -> tuple[PlayRun, ...]:
        """The stretches that show frames and begin to before the animation is over."""
        end = self._end + self._ahead
        return tuple(s for s in self._course.stretches if s.frames and s.start + s.work < end)

    @cached_property
    def _starts(self) -> list[int]:
        return [self._appears(stretch, 0, 0) for stretch in self._stretches]

    def _appears(self, stretch: PlayRun, play: int, frame: int) -> int:
        """Return when a frame of a stretch appears. Play and frame are counted within the stretch."""
        return stretch.start + play * stretch.play_length + frame * stretch.beat + stretch.work - self._ahead

    @property
    def _end(self) -> int:
        """When the animation is over. One that never is gets a beat more, so that its last picture counts as shown."""
        more = self.pacing.rhythm.beat if self._course.endless else 0
        return self._course.end + more - self._ahead

    @property
    def _boot(self) -> int:
        return in_ns(self.boot_s)

    def at(self, t_s: float) -> ShownPicture | None:
        """Return what is on the screen at `t_s`; None before the first frame and when the animation has ended."""
        return self._at(in_ns(t_s))

    def _at(self, moment: int) -> ShownPicture | None:
        if not 0 <= moment < self._end or not self._starts:
            return None
        place = bisect_right(self._starts, moment) - 1
        stretch = self._stretches[place]
        play = min((moment - self._starts[place]) // stretch.play_length, stretch.plays - 1)
        frame = min((moment - self._appears(stretch, play, 0)) // stretch.beat, stretch.frames - 1)
        spans = self._spans(place, play, frame)
        return next((self._shown(place, play, frame, span) for span in spans if span[0] <= moment < span[1]), None)

    def shown(self, until_s: float | None = None) -> Iterator[ShownPicture]:
        """Yield every picture in order: those that begin before `until_s`, or all."""
        until = self._end if until_s is None else min(self._end, in_ns(until_s))
        for place, stretch in enumerate(self._stretches):
            for play in range(stretch.plays):
                if self._appears(stretch, play, 0) >= until:
                    return
                for frame in range(stretch.frames):
                    spans = self._spans(place, play, frame)
                    yield from (self._shown(place, play, frame, span) for span in spans if span[0] < until)

    def _shown(self, place: int, play: int, frame: int, span: tuple[int, int, bool]) -> ShownPicture:
        stretch, (start, end, pausing) = self._stretches[place], span
        number = (stretch.part, stretch.play + play, stretch.frame + frame)
        return ShownPicture(*number, start / SECOND, end / SECOND, pausing)

    def _spans(self, place: int, play: int, frame: int) -> list[tuple[int, int, bool]]:
        """Return start, end and False for a frame and, where it stays through a pause, the same and True for that."""
        stretch = self._stretches[place]
        start = self._appears(stretch, play, frame)
        rests = start - stretch.work + stretch.beat
        gone = min(self._end, self._next_appears(place, play, frame))
        last = frame == stretch.frames - 1 and stretch.pause > 0
        spans = [(start, min(rests, gone), False), (rests, gone, True)] if last else [(start, gone, False)]
        return [span for span in spans if span[0] < span[1]]

    def _next_appears(self, place: int, play: int, frame: int) -> int:
        """Return when the next frame appears; after the last, when the animation ends."""
        stretch = self._stretches[place]
        if frame + 1 < stretch.frames:
            return self._appears(stretch, play, frame + 1)
        if play + 1 < stretch.plays:
            return self._appears(stretch, play + 1, 0)
        return self._starts[place + 1] if place + 1 < len(self._starts) else self._end

    @property
    def once_only_end_s(self) -> float:
        """When the picture after the last before the first endless part appears, if the boot never ended.

        Pauses between plays and parts count, the very last does not: nothing moves any more. 0 without such parts.
        """
        once = self.parts[: next((i for i, part in enumerate(self.parts) if part.count == 0), None)]
        if not once:
            return 0.0
        return (sum(map(self.pacing.plays_ns, once)) - self.pacing.pause_ns(once[-1].pause)) / SECOND

    @property
    def cut(self) -> OnScreenAtCut:
        """What is on the screen when the boot ends."""
        seen = self._at(min(self._boot, self._end - 1)) or ShownPicture(0, 0, 0, 0.0, 0.0, False)
        part = self.parts[seen.part]
        last = seen.play == part.count - 1 and seen.frame == part.frames - 1
        return OnScreenAtCut(
            seen.part, seen.play, seen.frame, mid_motion=part.count != 0 and part.type != "c" and not last
        )

    def asks(self, from_s: float, until_s: float) -> Iterator[float]:
        """Yield the moments from `from_s` up to `until_s` at which the player asks whether the boot is over."""
        begin, until = in_ns(from_s), in_ns(until_s)
        check = self.pacing.rhythm.pause_check
        for place, stretch in enumerate(self._stretches):
            skip = max(0, (begin - self._starts[place]) // stretch.play_length - 1)
            for play in range(min(skip, stretch.plays), stretch.plays):
                start = self._appears(stretch, play, 0) - stretch.work
                if start > until:
                    return
                rests = start + stretch.frames * stretch.beat
                asked = [start + (n + 1) * stretch.beat for n in range(stretch.frames)]
                asked += range(rests + check, rests + stretch.pause, check) if check else []
                yield from (at / SECOND for at in asked if begin <= at <= until)

    @property
    def parts_shown(self) -> frozenset[int]:
        """The numbers, from 0, of the parts of which a frame is shown."""
        return frozenset(run.part for run in self._stretches)

    @property
    def lets_go(self) -> bool:
        """Whether the animation ends at all: an endless part without frames, once reached, is never left."""
        return not self._course.endless

    @property
    def end_s(self) -> float:
        """When the screen is released, infinite where it never is.

        It is before `boot_s` where no part is endless and all have played.
        """
        return self._end / SECOND if self.lets_go else math.inf

    @property
    def delay_s(self) -> float:
        """Seconds for which the screen is held after the boot; infinite where it is never released."""
        return max(0, self._end - self._boot) / SECOND if self.lets_go else math.inf
