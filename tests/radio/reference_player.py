"""The reference player's playing loop, walked frame by frame, for comparison with the closed form."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from keyturn.radio.timeline import PlayedPart


class ReferencePlayer:
    """The loop with a clock instead of a screen, in whole nanoseconds.

    Source: Android Open Source Project, frameworks/base, cmds/bootanimation, the playing loop (from memory):
    the exit property is looked at once, at the end of each frame's beat; the pause is one unbroken sleep.
    `began` holds when each part began that was shown at all.
    """

    def __init__(self, parts: Sequence[PlayedPart], beat: int, pauses: Sequence[int], boot: int) -> None:
        self.parts, self.beat, self.pauses, self.boot = parts, beat, pauses, boot
        self.clock = 0
        self.exit_pending = False
        self.began: dict[int, int] = {}

    def sleep(self, length: int) -> tuple[int, int]:
        start = self.clock
        self.clock += length
        return start, self.clock

    def check_exit(self) -> None:
        if self.clock >= self.boot:
            self.exit_pending = True

    def show(self) -> Iterator[tuple[int, int, int, int, int, bool]]:
        """Yield part, play, frame, start and end in nanoseconds, and whether it is the pause after a play."""
        for i, part in enumerate(self.parts):
            r = 0
            while part.count == 0 or r < part.count:
                if self.exit_pending and part.type != "c":
                    break
                self.began.setdefault(i, self.clock)
                last = 0
                for j in range(part.frames):
                    if self.exit_pending and part.type != "c":
                        break
                    yield (i, r, j, *self.sleep(self.beat), False)
                    last = j
                    self.check_exit()
                if self.pauses[i]:
                    yield (i, r, last, *self.sleep(self.pauses[i]), True)
                if self.exit_pending and part.count == 0:
                    break
                r += 1
