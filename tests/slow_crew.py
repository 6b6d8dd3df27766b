"""A crew whose jobs take time by a clock that tests move, and whose workers die on some files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any

from keyturn.pipeline import Bench
from keyturn.shop.reasons import Refused, refuse
from keyturn.workers.crew import DEFEATED, InlineCrew
from keyturn.workers.drop_crew import DropCrew
from samples import Clock


class SlowCrew(InlineCrew):
    """Each job takes `seconds` of `clock`. Workers die on the files `deadly`. `tried` gets the file of every job."""

    def __init__(self, clock: Clock, seconds: float, deadly: Iterable[str] = ()) -> None:
        self.clock, self.seconds, self.deadly = clock, seconds, set(deadly)
        self.tried: list[str] = []

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        for job in jobs:
            self.clock.at += self.seconds
            self.tried.append(names(job))
            if names(job) in self.deadly:
                yield Refused([refuse(DEFEATED, "died", "save it anew", file=names(job))])
            else:
                yield from super().run(task, [job], names)


def slow_bench(bench: Bench, *, drop_seconds: float, job_seconds: float) -> Bench:
    """Return `bench` for a drop that may take `drop_seconds`, with workers that need `job_seconds` for each job."""
    clock = Clock()
    caps = bench.rules.intake.caps.model_copy(update={"drop_seconds": drop_seconds})
    intake = bench.rules.intake.model_copy(update={"caps": caps})
    crew = DropCrew(SlowCrew(clock, job_seconds), intake, clock=clock)
    return replace(bench, rules=bench.rules.model_copy(update={"intake": intake}), crew=crew)
