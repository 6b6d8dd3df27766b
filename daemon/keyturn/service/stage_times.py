"""How long each stage of a drop's way took: for the log, so that an operator sees what a slow shop waits for."""

from __future__ import annotations

import time
from collections.abc import Callable


class Laps:
    """Hears progress, notes when each stage began, and passes it on. A stage that comes again adds to its time.

    `clock` gives seconds.
    """

    def __init__(self, onward: Callable[[str, int, int], None], clock: Callable[[], float] = time.monotonic) -> None:
        self._onward, self._clock = onward, clock
        self._began = self._since = clock()
        self._stage = ""
        self._spent: dict[str, float] = {}

    def __call__(self, stage: str, done: int, total: int) -> None:
        if stage != self._stage:
            self._turn(stage)
        self._onward(stage, done, total)

    def _turn(self, stage: str) -> None:
        now = self._clock()
        if self._stage:
            self._spent[self._stage] = self._spent.get(self._stage, 0.0) + now - self._since
        self._stage, self._since = stage, now

    def end(self) -> str:
        """ "3.2 s: reading 0.1, frames 2.9, publish 0.2": all since the beginning, and seconds a stage."""
        self._turn("")
        stages = ", ".join(f"{stage} {seconds:.3f}" for stage, seconds in self._spent.items())
        return f"{self._clock() - self._began:.3f} s: {stages}"
