"""The reference player's playing loop, walked frame by frame, for comparison with the closed form."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

from keyturn.radio.player_loop import Rhythm
from keyturn.radio.timeline import PlayedPart


class KilledError(Exception):
    """The boot is over and the player is ended."""


class LiteralLoop:
    """The loop with a clock instead of a screen, in whole nanoseconds.

    Source: Android Open Source Project, frameworks/base, cmds/bootanimation, the playing loops of 4.0 (killed), 4.4 and
    10 (the pause is one unbroken sleep) and 14 (the pause is slept in steps; fades). `began` holds when work on each
    part began that was shown at all.
    """

    def __init__(self, parts: Sequence[PlayedPart], rhythm: Rhythm, pauses: Sequence[int], boot: int) -> None:
        self.parts, self.rhythm, self.pauses, self.boot = parts, rhythm, pauses, boot
        self.clock = 0
        self.exit_pending = False
        self.faded = 0
        self.began: dict[int, int] = {}
        self.pictures: list[tuple[int, int, int, int]] = []
        self.rested: set[tuple[int, ...]] = set()

    def sleep(self, length: int) -> None:
        if self.rhythm.killed and self.clock + length >= self.boot:
            self.clock = max(self.boot, self.clock)
            raise KilledError
        self.clock += length

    def check_exit(self) -> None:
        if self.clock >= self.boot and not self.rhythm.killed:
            self.exit_pending = True

    def stops(self, part: PlayedPart) -> bool:
        return self.exit_pending and part.type != "c" and self.faded >= part.fade

    def walk(self) -> list[tuple[int, int, int, int]]:
        """Return part, play, frame and the nanosecond at which each picture appears."""
        with contextlib.suppress(KilledError):
            self._parts()
        return self.pictures

    def _parts(self) -> None:
        for i, part in enumerate(self.parts):
            r = 0
            while part.count == 0 or r < part.count or self.faded > 0:
                if self.stops(part):
                    break
                self.began.setdefault(i, self.clock)
                self._frames(i, part, r)
                before = self.clock
                if self.pictures:
                    self.rested.add(self.pictures[-1][:3])
                self._pause(self.pauses[i])
                if self.pictures and self.clock == before:
                    self.rested.discard(self.pictures[-1][:3])
                if self.exit_pending and part.count == 0 and part.fade == 0:
                    break
                r += 1

    def _frames(self, i: int, part: PlayedPart, r: int) -> None:
        rhythm = self.rhythm
        work, beat = (rhythm.work, rhythm.beat) if r else (rhythm.first_work, rhythm.first_beat)
        for j in range(part.frames):
            if self.stops(part):
                break
            self.sleep(work)
            if self.exit_pending and part.fade:
                self.faded += 1
                if self.faded >= part.fade:
                    self.faded = 10**9
            self.pictures.append((i, r, j, self.clock))
            self.sleep(beat - work)
            self.check_exit()

    def _pause(self, left: int) -> None:
        step = self.rhythm.pause_check
        if not step:
            self.sleep(left)
            return
        while left > 0 and not self.exit_pending:
            if left <= step:
                self.sleep(left)
                break
            self.sleep(step)
            left -= step
            self.check_exit()
