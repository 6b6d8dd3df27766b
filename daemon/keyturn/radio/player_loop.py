"""The reference player's loop in closed form: which plays of which parts run, in whole nanoseconds.

The loop, after Android Open Source Project, frameworks/base, cmds/bootanimation (from memory):
for every part, for every play (count 0: without end), unless the boot is over and the part is not `c`:
show the frames one by one and look, at the end of each frame's beat, whether the boot is over; frames of a
part that is not `c` stop then. After the frames of every play, cut short or not, sleep the pause. An endless
part is left after the play in which the boot was seen to be over. The sleep is never interrupted and nothing
is looked at during it, so a boot that ends in a pause is noticed after the frame that follows the pause.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol


class PartLike(Protocol):
    @property
    def type(self) -> str: ...
    @property
    def count(self) -> int: ...
    @property
    def frames(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Span:
    """One picture on the screen, or the pause after a play, from `start` up to, not with, `end`."""

    play: int
    frame: int
    start: int
    end: int
    pausing: bool


@dataclass(frozen=True, slots=True)
class Run:
    """`full` whole plays of one part from `start`, then `cut` frames of one more play (0: none)."""

    part: int
    start: int
    full: int
    cut: int
    frames: int
    beat: int
    pause: int

    @property
    def play_length(self) -> int:
        return self.frames * self.beat + self.pause

    @property
    def end(self) -> int:
        rest = self.cut * self.beat + self.pause if self.cut else 0
        return self.start + self.full * self.play_length + rest

    def at(self, moment: int) -> Span:
        """What stands at `moment`, which lies within the run."""
        play, offset = divmod(moment - self.start, self.play_length)
        frames = self._frames(play)
        return self._span(play, min(offset // self.beat, frames), frames)

    def spans(self) -> Iterator[Span]:
        for play in range(self.full + bool(self.cut)):
            frames = self._frames(play)
            for step in range(frames + bool(self.pause)):
                yield self._span(play, step, frames)

    def _frames(self, play: int) -> int:
        return self.frames if play < self.full else self.cut

    def _span(self, play: int, step: int, frames: int) -> Span:
        """Step `frames` of a play is its pause."""
        start = self.start + play * self.play_length + step * self.beat
        if step == frames:
            return Span(play, frames - 1, start, start + self.pause, True)
        return Span(play, step, start, start + self.beat, False)


@dataclass(frozen=True, slots=True)
class Show:
    """All runs in order. `noticed` is when the end of the boot was seen, during run `noticed_in`.

    Both None: the animation was over before it could be seen.
    """

    runs: tuple[Run, ...]
    noticed: int | None
    noticed_in: int | None

    @property
    def end(self) -> int:
        return self.runs[-1].end


def play(parts: Sequence[PartLike], beat: int, pauses: Sequence[int], boot: int) -> Show:
    """The show of `parts` where the boot is over at `boot`; costs one step a part, however long the boot."""
    runs: list[Run] = []
    noticed = noticed_in = None
    clock = 0
    for index, (part, pause) in enumerate(zip(parts, pauses, strict=True)):
        if noticed is None:
            run, seen = _before_boot(index, part, clock, beat, pause, boot)
            if seen is not None:
                noticed, noticed_in = seen, len(runs)
        elif part.type == "c":
            run = Run(index, clock, part.count or 1, 0, part.frames, beat, pause)
        else:
            continue
        runs.append(run)
        clock = run.end
    return Show(tuple(runs), noticed, noticed_in)


def _before_boot(index: int, part: PartLike, start: int, beat: int, pause: int, boot: int) -> tuple[Run, int | None]:
    """The part's run, begun while the boot was not yet seen to be over, and when that is seen, if in this run."""
    length = part.frames * beat + pause
    # the first play whose last beat ends at or after the end of the boot, then the first such beat in it
    turn = max(0, _ceil_div(boot - start - part.frames * beat, length))
    if part.count and turn >= part.count:
        return Run(index, start, part.count, 0, part.frames, beat, pause), None
    shown = max(1, _ceil_div(boot - start - turn * length, beat))
    noticed = start + turn * length + shown * beat
    if part.type == "c":
        return Run(index, start, part.count or turn + 1, 0, part.frames, beat, pause), noticed
    if shown == part.frames:
        return Run(index, start, turn + 1, 0, part.frames, beat, pause), noticed
    return Run(index, start, turn, shown, part.frames, beat, pause), noticed


def _ceil_div(a: int, b: int) -> int:
    return -(-a // b)
