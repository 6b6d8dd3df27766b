"""The reference player's loop in closed form: which plays of which parts run, in whole nanoseconds.

The loop, after Android Open Source Project, frameworks/base, cmds/bootanimation (from memory):

- Parts run in order, and each plays `count` times; 0 is without end.
- A play shows the frames one by one. At the end of each frame's beat the player looks whether the boot is over.
- Once it has seen that, a part that is not `c` stops after the beat, and parts that are not `c` do not begin.
- After the frames of every play, cut short or not, the player sleeps for the pause. It never interrupts the sleep and
  looks at nothing during it, so a boot that ends in a pause is noticed after the frame that follows the pause.
- An endless part is left after the play in which the boot was seen to be over.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol


class PartLike(Protocol):
    """What the loop has to know of a part."""

    @property
    def type(self) -> str: ...
    @property
    def count(self) -> int: ...
    @property
    def frames(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Span:
    """One picture on the screen, or the pause after a play, from `start` up to but without `end`, in nanoseconds."""

    play: int
    frame: int
    start: int
    end: int
    pausing: bool


@dataclass(frozen=True, slots=True)
class PartRun:
    """`full` whole plays of one part from `start`, then the first `cut` frames of one more play (0: no more play).

    `frames` is the length of a whole play, `beat` a frame's time and `pause` the sleep after a play, in nanoseconds.
    """

    part: int
    start: int
    full: int
    cut: int
    frames: int
    beat: int
    pause: int

    @property
    def play_length(self) -> int:
        """Nanoseconds of a whole play and its pause."""
        return self.frames * self.beat + self.pause

    @property
    def end(self) -> int:
        """When the run is over, the pause after its last play included."""
        rest = self.cut * self.beat + self.pause if self.cut else 0
        return self.start + self.full * self.play_length + rest

    def at(self, moment: int) -> Span:
        """Return what is on the screen at `moment`, which lies within the run."""
        play, offset = divmod(moment - self.start, self.play_length)
        frames = self._frames(play)
        return self._span(play, min(offset // self.beat, frames), frames)

    def spans(self) -> Iterator[Span]:
        """Yield every picture and pause in order."""
        for play in range(self.full + bool(self.cut)):
            frames = self._frames(play)
            for step in range(frames + bool(self.pause)):
                yield self._span(play, step, frames)

    def _frames(self, play: int) -> int:
        return self.frames if play < self.full else self.cut

    def _span(self, play: int, step: int, frames: int) -> Span:
        """Return step `step` of a play of `frames` frames; the step after the last frame is the pause."""
        start = self.start + play * self.play_length + step * self.beat
        if step == frames:
            return Span(play, frames - 1, start, start + self.pause, True)
        return Span(play, step, start, start + self.beat, False)


def play(parts: Sequence[PartLike], beat: int, pauses: Sequence[int], boot: int) -> tuple[PartRun, ...]:
    """Return the runs of `parts` in order where the boot is over at `boot`, all times in nanoseconds.

    It costs one step a part, however long the boot.
    """
    runs: list[PartRun] = []
    clock, noticed = 0, False
    for index, (part, pause) in enumerate(zip(parts, pauses, strict=True)):
        if not noticed:
            run, noticed = _before_boot(index, part, clock, beat, pause, boot)
        elif part.type == "c":
            run = PartRun(index, clock, part.count or 1, 0, part.frames, beat, pause)
        else:
            continue
        runs.append(run)
        clock = run.end
    return tuple(runs)


def _before_boot(index: int, part: PartLike, start: int, beat: int, pause: int, boot: int) -> tuple[PartRun, bool]:
    """Return the run of a part that begins before the boot is seen to be over, and whether that is seen in this run."""
    length = part.frames * beat + pause
    # the first play whose last beat ends at or after the end of the boot, then the first such beat in it
    turn = max(0, _ceil_div(boot - start - part.frames * beat, length))
    if part.count and turn >= part.count:
        return PartRun(index, start, part.count, 0, part.frames, beat, pause), False
    shown = max(1, _ceil_div(boot - start - turn * length, beat))
    if part.type == "c":
        return PartRun(index, start, part.count or turn + 1, 0, part.frames, beat, pause), True
    if shown == part.frames:
        return PartRun(index, start, turn + 1, 0, part.frames, beat, pause), True
    return PartRun(index, start, turn, shown, part.frames, beat, pause), True


def _ceil_div(a: int, b: int) -> int:
    return -(-a // b)
