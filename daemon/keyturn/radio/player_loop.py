"""The reference player's loop in closed form: which plays of which parts run, in whole nanoseconds.

The loop, after Android Open Source Project, frameworks/base, cmds/bootanimation, versions 4.0, 4.4, 10 and 14:

- Parts run in order, and each plays `count` times; 0 is without end.
- A frame is worked on (decoded in the part's first play, and drawn), then shown, then the rest of its beat is waited.
- At the end of each frame's beat, where the next frame's work starts, the player asks whether the boot is over.
- Once it has seen that, a part that is not `c` stops, and parts that are not `c` do not begin.
- After the frames of every play, cut short or not, the player sleeps for the pause. Until version 11 it never cuts the
  sleep short and asks nothing during it, so a boot that ends in a pause is noticed after the frame that follows. Later
  ones ask every 50 ms, and leave out pauses once the boot is over.
- An endless part is left after the play in which the boot was seen to be over. Only showing frames (or a pause that is
  broken off) makes the player ask: an endless part without frames is never left.
- A row of type `f` with a fade number plays on for so many frames after the boot (version 14).
- The first generation does not ask: it is killed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol


class PartLike(Protocol):
    """What the loop has to know of a part. `fade` is the fade number of an `f` row, 0 for others."""

    @property
    def type(self) -> str: ...
    @property
    def count(self) -> int: ...
    @property
    def frames(self) -> int: ...
    @property
    def fade(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Rhythm:
    """The times of a player in nanoseconds.

    `beat` is a frame's time and `work` its part until the frame is shown, for a part's first play and for later ones.
    In a pause the player asks every `pause_check` whether the boot is over; with 0 it never asks. `killed`: the player
    is ended when the boot is over.
    """

    first_beat: int
    beat: int
    first_work: int
    work: int
    pause_check: int = 0
    killed: bool = False


@dataclass(frozen=True, slots=True)
class PlayRun:
    """`plays` plays of a part from `start`, each of `frames` frames from number `frame` on, and a pause after each.

    `play` is the number of the first play, `beat` a frame's time, `work` the time until it is shown, `pause` the sleep
    after a play. Times are nanoseconds from the start of work on the animation.
    """

    part: int
    play: int
    frame: int
    start: int
    plays: int
    frames: int
    beat: int
    work: int
    pause: int

    @property
    def play_length(self) -> int:
        """Nanoseconds of a play and its pause."""
        return self.frames * self.beat + self.pause

    @property
    def end(self) -> int:
        """When the stretch is over, the pause after its last play included."""
        return self.start + self.plays * self.play_length


@dataclass(frozen=True, slots=True)
class Course:
    """How an animation ran: its stretches in order, when it was over, and whether it never ends by itself.

    `asked`: when the player saw that the boot was over, None where it did not.
    """

    stretches: tuple[PlayRun, ...]
    end: int
    endless: bool
    asked: int | None


def play(parts: Sequence[PartLike], rhythm: Rhythm, pauses: Sequence[int], boot: int) -> Course:
    """Return how `parts` run where the boot is over at `boot`, counted from the start of work on the animation.

    It costs a few steps a part, however long the boot.
    """
    loop = _Loop(rhythm, boot)
    for index, (part, pause) in enumerate(zip(parts, pauses, strict=True)):
        loop.run(index, part, pause)
        if loop.endless:
            break
    return Course(tuple(loop.stretches), loop.end, loop.endless and not rhythm.killed, loop.asked)


class _Loop:
    """The player at work: its clock, and whether it knows that the boot is over (`asked`) and has faded."""

    def __init__(self, rhythm: Rhythm, boot: int) -> None:
        self.rhythm = rhythm
        self.boot = boot
        self.clock = 0
        self.asked: int | None = None
        self.faded = False
        self.endless = False
        self.stretches: list[PlayRun] = []

    @property
    def end(self) -> int:
        return min(self.clock, self.boot) if self.rhythm.killed and not self.endless else self.clock

    def run(self, index: int, part: PartLike, pause: int) -> None:
        run = _PartRun(self, index, part, pause)
        if self.rhythm.killed:
            run.until_killed()
        elif self.asked is None:
            run.before_boot()
        else:
            run.after_boot()


class _PartRun:
    """One part as the loop runs it."""

    def __init__(self, loop: _Loop, index: int, part: PartLike, pause: int) -> None:
        self.loop, self.index, self.part, self.pause = loop, index, part, pause
        rhythm = loop.rhythm
        self.first = part.frames * rhythm.first_beat
        self.later = part.frames * rhythm.beat
        self.step = rhythm.pause_check
        # a pause of exactly one step is slept whole: the player asks between two steps only
        self.checks = max(0, -(-pause // self.step) - 1) if self.step else 0

    # -- what happens --------------------------------------------------------------------------------

    def until_killed(self) -> None:
        """Play as if the boot never ended; an endless part plays until the player is killed."""
        plays = self.part.count
        if plays == 0:
            left = self.loop.boot - self.loop.clock - self.first - self.pause
            length = self.later + self.pause
            plays = 1 + max(0, _ceil_div(left, length)) if length else 0
            self.loop.endless = length == 0
        self.whole(0, plays, self.pause)
        if self.loop.endless:
            self.loop.clock = self.loop.boot

    def before_boot(self) -> None:
        """Play until the part is over or the boot is seen to be over, and then what follows from that."""
        part, loop = self.part, self.loop
        if part.frames == 0 and self.checks == 0:  # nothing makes the player ask
            loop.endless = part.count == 0
            self.whole(0, part.count, self.pause)
            return
        play = self._play_that_asks()
        if part.count and play >= part.count:
            self.whole(0, part.count, self.pause)
            return
        self.whole(0, play, self.pause)
        into, beat = loop.boot - loop.clock, self._beat(play)
        if part.frames and into <= part.frames * beat:
            self._seen_at_frame(play, max(1, _ceil_div(into, beat)), beat)
        else:
            rest = max(1, _ceil_div(into - part.frames * beat, self.step)) * self.step
            self._seen_in_pause(play, rest)

    def after_boot(self) -> None:
        """Play what a player that knows that the boot is over still plays: `c` parts, and a fade."""
        part, loop = self.part, self.loop
        if part.type == "c":
            loop.endless = loop.faded and part.count > 0  # from memory of the loop's condition: fading never ends it
            self.whole(0, part.count or 1, self._pause_after_boot)
        elif part.fade and not loop.faded:
            self._fade(0, 0)

    # -- its pieces ----------------------------------------------------------------------------------

    def _play_that_asks(self) -> int:
        """Return the first play in which, or in whose pause, the boot is seen to be over."""
        loop, last_check = self.loop, self.checks * self.step
        if loop.boot <= loop.clock + self.first + last_check:
            return 0
        second = loop.clock + self.first + self.pause + self.later + last_check
        return 1 + max(0, _ceil_div(loop.boot - second, self.later + self.pause))

    def _seen_at_frame(self, play: int, shown: int, beat: int) -> None:
        """Go on after the first `shown` frames of a play, at whose end the boot is seen to be over."""
        part, loop, pause = self.part, self.loop, self._pause_after_boot
        loop.asked = loop.clock + shown * beat
        if part.type == "c":
            self.add(play, 1, pause)
            self.whole(play + 1, part.count, pause)
        elif part.fade and not (shown == part.frames and play + 1 == part.count):
            self.add(play, 1, 0, frames=shown)
            self._fade(play, shown)
        else:
            self.add(play, 1, pause, frames=shown)

    def _seen_in_pause(self, play: int, rest: int) -> None:
        """Go on where the boot is seen to be over `rest` into the pause after a play."""
        part, loop = self.part, self.loop
        self.add(play, 1, rest)
        loop.asked = loop.clock
        if part.type == "c":
            self.whole(play + 1, part.count, self._pause_after_boot)
        elif part.fade and (part.count == 0 or play + 1 < part.count):
            self._fade(play + 1, 0)

    def _fade(self, play: int, frame: int) -> None:
        """Show as many frames as the fade number says, from `frame` of a play on."""
        part, loop = self.part, self.loop
        if part.frames == 0:
            loop.endless = part.count == 0
            return
        first = min(part.frames - frame, part.fade)
        self.add(play, 1, 0, frame=frame, frames=first)
        whole, rest = divmod(part.fade - first, part.frames)
        self.add(play + 1, whole, 0)
        self.add(play + 1 + whole, 1, 0, frames=rest)
        loop.faded = True

    @property
    def _pause_after_boot(self) -> int:
        return 0 if self.step else self.pause

    def whole(self, first: int, count: int, pause: int) -> None:
        """Add the whole plays from number `first` up to but without `count`."""
        if first == 0 and count > 0:
            self.add(0, 1, pause)
            first = 1
        self.add(first, count - first, pause)

    def add(self, play: int, plays: int, pause: int, *, frame: int = 0, frames: int | None = None) -> None:
        """Add `plays` plays from number `play` on, and let the clock go on."""
        frames = self.part.frames if frames is None else frames
        if plays <= 0 or not (frames or pause):
            return
        rhythm, loop = self.loop.rhythm, self.loop
        work = rhythm.work if play else rhythm.first_work
        stretch = PlayRun(self.index, play, frame, loop.clock, plays, frames, self._beat(play), work, pause)
        loop.stretches.append(stretch)
        loop.clock = stretch.end

    def _beat(self, play: int) -> int:
        return self.loop.rhythm.beat if play else self.loop.rhythm.first_beat


def _ceil_div(a: int, b: int) -> int:
    return -(-a // b)
