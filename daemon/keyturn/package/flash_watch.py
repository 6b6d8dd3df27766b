"""The flash check at work while the crew makes frames and small pictures: little of it is left to do afterwards."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from keyturn.flatten.frame_source import Source
from keyturn.judge.flash import BLACK, BLACK_NUMBER, FlashAhead, PictureNumbers, Place
from keyturn.package.animation import FrameStore
from keyturn.package.frame import FrameDone
from keyturn.package.radio_job import RadioJob
from keyturn.renumber.plan import Plan
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Refused
from keyturn.shop.records import FlashRecord
from keyturn.workers.crew import Crew, end

J = TypeVar("J")
R = TypeVar("R")

AT_A_TIME = 3
"""So many pictures are checked after each of the crew's results. A picture takes some milliseconds: less than a worker
needs for a frame, so that none of them waits for more work."""

UNNUMBERED = -2
"""Stands for the number of a logo that no frame equals: it is numbered after the frames."""


class FlashWatch:
    """Checks the pictures of a radio's plan in playing order, each once it is known.

    `numbers` fills up as frames are kept in `store`. `seconds` have gone into the check so far. It stands still once
    they are more than the shop's rules allow, and where a picture is broken.
    """

    def __init__(self, job: RadioJob, store: FrameStore, numbers: Mapping[Source, int], progress: Progress) -> None:
        self._store, self._numbers, self._progress = store, numbers, progress
        self._rules, self._most_s = job.rules.safety.flash, job.rules.intake.stages.judge
        self.logo: FrameDone | None = None
        self.seconds = 0.0
        self._plan = job.plan
        self._ahead = FlashAhead(job.plan, self._rules)

    def follow(self, plan: Plan) -> None:
        """Check `plan` from now on: where it is another one, what was seen of the old one does not count."""
        if plan is not self._plan:
            self._plan, self._ahead = plan, FlashAhead(plan, self._rules)

    def go_on(self) -> None:
        """Check the next pictures, a few at most."""
        if self.seconds > self._most_s:
            return
        began = self._progress.now()
        self._ahead.go_on(self._number_at, self._cells, AT_A_TIME)
        self.seconds += self._progress.now() - began

    def record(self, numbers: PictureNumbers, cells: Callable[[int], NDArray[np.uint16]]) -> FlashRecord:
        """Check what is left of the plan, and return the result. `cells` gives the cells of picture `number`."""
        return self._ahead.record(numbers, cells, self._store.pixels)

    def _number_at(self, place: Place) -> int | None:
        if place < (0, 0):  # before the first frame
            return self._before_the_frames(place)
        part, frame = place
        number = self._numbers.get(self._plan.parts[part].sources[frame])
        return None if number is None or number < 0 else number

    def _before_the_frames(self, place: Place) -> int | None:
        """Return the number of the logo or of black. Whether a frame equals the logo is known once there is one."""
        if place == BLACK:
            return BLACK_NUMBER
        if self.logo is None or self._plan.parts[0].sources[0] not in self._numbers:
            return None
        number = self._store.number_of(self.logo)
        return UNNUMBERED if number is None else number

    def _cells(self, number: int) -> NDArray[np.uint16]:
        if number == UNNUMBERED and self.logo:
            return self.logo.cells
        return self._store.cells(number)


@dataclass(frozen=True, slots=True)
class WatchedCrew:
    """A crew beside which the flash check goes on, after each result that was taken."""

    crew: Crew
    watch: FlashWatch

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        results = self.crew.run(task, jobs, names)
        try:
            for result in results:
                yield result
                self.watch.go_on()
        finally:
            end(results)

    def wake(self) -> None:
        self.crew.wake()

    def rest(self) -> None:
        self.crew.rest()

    def shed(self) -> None:
        self.crew.shed()

    def close(self) -> None:
        self.crew.close()
