"""One drop's crew: it bounds the time that the workers spend on the whole drop, and reads no file twice in vain.

The limits of a worker are those of one task, but several stages read the same file, and a drop may hold many files.
"""

from __future__ import annotations

import time
from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from typing import TypeVar

from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Intake
from keyturn.workers.crew import DEFEATED, Crew, end

J = TypeVar("J")
R = TypeVar("R")


class DropCrew:
    """A crew for one drop; `crew` does the work.

    It counts the seconds for which a result is waited for. Once they are more than `[caps] drop_seconds`, or those of
    one stage more than its row in `[stages]`, every call raises the drop's refusal. `stage` returns the stage's name.

    A file that a worker failed on twice is not given to a worker again: its other jobs get the same refusal.
    """

    def __init__(
        self,
        crew: Crew,
        intake: Intake,
        stage: Callable[[], str] = lambda: "",
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._crew, self._intake, self._stage, self._clock = crew, intake, stage, clock
        self._seconds_of_stage: defaultdict[str, float] = defaultdict(float)
        self._seconds_of_file: defaultdict[str, float] = defaultdict(float)
        self._defeating: dict[str, Refused] = {}
        self._over: Refused | None = None

    def for_next_job(self) -> DropCrew:
        """Return a crew for another job of the same drop: it has the time of a whole drop, and reads no file in vain
        that this one did."""
        crew = DropCrew(self._crew, self._intake, self._stage, self._clock)
        crew._defeating = self._defeating
        return crew

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        """Yield as `Crew.run` does. Raise `Refused` where the drop's time is up: that is no result of a job."""
        left: Iterator[J] = iter(jobs)
        while True:
            defeating = len(self._defeating)
            taken: deque[J] = deque()
            yield from self._until_defeated(task, left, taken, names)
            if len(self._defeating) == defeating:
                return
            left = chain(taken, left)

    def _until_defeated(
        self, task: Callable[[J], R], jobs: Iterator[J], taken: deque[J], names: Callable[[J], str]
    ) -> Iterator[R | Refused]:
        """Yield results until a file defeats its reader. `taken` then holds the jobs without a result.

        The work on them is broken off, for they may be about the same file.
        """
        results = self._crew.run(task, self._worth_trying(jobs, taken, names), names)
        try:
            while (awaited := self._awaited(results, taken, names)) is not None:
                (result,) = awaited
                yield from self._refusals(taken, names)
                name = names(taken.popleft())
                defeated = isinstance(result, Refused) and result.reasons[0].code == DEFEATED and name != ""
                if isinstance(result, Refused) and defeated:
                    self._defeating[name] = result
                yield result
                if defeated:
                    return
            yield from self._refusals(taken, names)
        finally:
            end(results)

    def _worth_trying(self, jobs: Iterable[J], taken: deque[J], names: Callable[[J], str]) -> Iterator[J]:
        """Yield the jobs that a worker is to do. `taken` gets every job."""
        for job in jobs:
            taken.append(job)
            if names(job) not in self._defeating:
                yield job

    def _refusals(self, taken: deque[J], names: Callable[[J], str]) -> Iterator[Refused]:
        """Yield the refusals of the first jobs of `taken` that no worker does."""
        while taken and (refused := self._defeating.get(names(taken[0]))) is not None:
            taken.popleft()
            yield refused

    # -- the time -----------------------------------------------------------------------------------

    def _awaited(
        self, results: Iterator[R | Refused], taken: Iterable[J], names: Callable[[J], str]
    ) -> tuple[R | Refused] | None:
        """Return the next result; None where there is no more. Raise `Refused` where the time was up before."""
        self._stop_if_over()
        began = self._clock()
        try:
            return (next(results),)
        except StopIteration:
            return None
        finally:
            seconds = self._clock() - began
            self._seconds_of_stage[self._stage()] += seconds
            tried = (name for job in taken if (name := names(job)) not in self._defeating)
            self._seconds_of_file[next(tried, "")] += seconds

    def _stop_if_over(self) -> None:
        stage = self._stage()
        for seconds, most in (
            (sum(self._seconds_of_stage.values()), self._intake.caps.drop_seconds),
            (self._seconds_of_stage[stage], self._intake.stages.seconds(stage)),
        ):
            if seconds > most and self._over is None:
                self._over = self._refusal(most)
        if self._over is not None:
            raise self._over

    def _refusal(self, most: float) -> Refused:
        """Return the drop's refusal, with the file that took longest."""
        file, _ = max(self._seconds_of_file.items(), key=lambda item: (item[0] != "", item[1]))
        what = f"the work on this drop's pictures took longer than {most:,.0f} s, and on this one longest"
        mend = "save large or complicated pictures smaller or simpler, or send fewer; the shop's rule can allow more"
        return Refused([refuse("drop-takes-too-long", what, mend, file=file or None)])

    def wake(self) -> None:
        self._crew.wake()

    def rest(self) -> None:
        self._crew.rest()

    def shed(self) -> None:
        self._crew.shed()

    def close(self) -> None:
        self._crew.close()
