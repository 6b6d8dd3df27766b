"""How far the work on one drop has come, how long each stage took, and whether the work is to stop."""

from __future__ import annotations

import time
from collections.abc import Callable


class Stopped(Exception):  # noqa: N818 - the service is ending; the drop stays where it is
    """The work was given up because the service is stopping. Nothing is lost: the drop is made again."""


class Progress:
    """The progress of one drop.

    `told` is called with the stage's name, the frames made so far and the frames of the whole job, or the pieces of a
    stage that has its own. `stop` is asked after each frame whether to give up the work. `clock` returns seconds.
    """

    def __init__(
        self,
        told: Callable[[str, int, int], None] = lambda stage, done, total: None,
        stop: Callable[[], bool] = lambda: False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._told, self._stop, self._clock = told, stop, clock
        self._began = self._since = clock()
        self._stage = ""
        self._spent: dict[str, float] = {}
        self._done = self._total = 0
        self._piece, self._pieces = 0, 0

    @property
    def current(self) -> str:
        """The name of the stage."""
        return self._stage

    def expect(self, frames: int) -> None:
        """Set how many frames the whole job has."""
        self._total = frames

    def stage(self, name: str, pieces: int = 0) -> None:
        """Begin a stage, which has `pieces` of its own or else works on the frames.

        One that comes again adds to its time.
        """
        now = self._clock()
        if self._stage:
            self._spent[self._stage] = self._spent.get(self._stage, 0.0) + now - self._since
        self._stage, self._since = name, now
        self._piece, self._pieces = 0, pieces
        if name:
            self._tell()

    def _tell(self) -> None:
        done, total = (self._piece, self._pieces) if self._pieces else (self._done, self._total)
        self._told(self._stage, done, total)

    def seconds(self) -> float:
        """Return for how many seconds the work has been in this stage, each time that it came."""
        return self._spent.get(self._stage, 0.0) + self._clock() - self._since

    def now(self) -> float:
        """Return the seconds of this progress's clock."""
        return self._clock()

    def piece(self) -> None:
        """Count one piece of the stage as done. Raise `Stopped` where the work is to stop."""
        self._piece += 1
        self._tell()
        self.check()

    def frame(self) -> None:
        """Count one frame as made. Raise `Stopped` where the work is to stop."""
        self._done += 1
        self._tell()
        self.check()

    def check(self) -> None:
        """Raise `Stopped` where the work is to stop."""
        if self._stop():
            raise Stopped

    def times(self) -> str:
        """Return the clock's seconds since the beginning and those of each stage: "3.2 s: reading 0.1, frames 3.1"."""
        self.stage("")
        stages = ", ".join(f"{stage} {seconds:.3f}" for stage, seconds in self._spent.items())
        return f"{self._clock() - self._began:.3f} s: {stages}"
