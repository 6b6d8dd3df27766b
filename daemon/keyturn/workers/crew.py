"""Where frame work runs. A crew takes a function and its jobs and gives the results in order.

A bounded window keeps memory flat however many frames a job has. A worker that dies or overruns its
limits is replaced and its task tried once more alone; a second failure costs that drop a reason.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, TimeoutError
from typing import Any, Protocol, TypeVar

from loguru import logger
from pebble import ProcessExpired, ProcessPool

from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Workers
from keyturn.workers import worker_limits
from keyturn.workers.process_start import Forking

J = TypeVar("J")
R = TypeVar("R")


class Crew(Protocol):
    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        """Results in the order of the jobs; a job that is refused gives its `Refused`, and the rest go on.

        `names` tells which file of the drop a job is about.
        """

    def wake(self) -> None:
        """Has the workers there before the first job. A program does well to ask before it starts threads: `forking`
        says why."""

    def rest(self) -> None:
        """Lets the workers go while nothing is to be done; the next job finds new ones."""

    def close(self) -> None: ...


class InlineCrew:
    """No workers: for tests and for single pictures."""

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        for job in jobs:
            try:
                yield task(job)
            except Refused as refused:
                yield refused

    def wake(self) -> None:
        return

    def rest(self) -> None:
        return

    def close(self) -> None:
        return


class LocalCrew:
    """Processes on this machine, started at the first job and let go when the shop is quiet.

    `size` 0 starts one for each processor. `preload` names a module with all that the tasks need: it is imported once,
    before the workers are forked.
    """

    def __init__(self, size: int, limits: Workers, preload: str = "") -> None:
        self._size = size or len(os.sched_getaffinity(0))
        self._preload = preload
        self._limits = limits
        self._pool: ProcessPool | None = None

    @property
    def size(self) -> int:
        return self._size

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        window: deque[tuple[J, Future[R]]] = deque()
        try:
            for job in jobs:
                window.append((job, self._start(task, job)))
                if len(window) >= 2 * self._size:
                    first, future = window.popleft()
                    yield self._result(task, first, future, names)
            while window:
                first, future = window.popleft()
                yield self._result(task, first, future, names)
        finally:
            for _, future in window:
                future.cancel()

    def wake(self) -> None:
        if not self._awake().active:  # asking is what starts them; the first job tries again, and tells
            self.rest()

    def _awake(self) -> ProcessPool:
        if self._pool is not None and not self._pool.active:
            self.rest()  # it could not start a worker, say; a new one may
        if self._pool is None:
            self._pool = ProcessPool(
                max_workers=self._size,
                max_tasks=2000,  # a slow leak in a decoder is given back with its process, seldom within one job
                initializer=worker_limits.prepare,
                initargs=[self._limits.memory_mib],
                context=Forking(self._preload),
            )
        return self._pool

    def _start(self, task: Callable[[J], R], job: J) -> Future[R]:
        future: Any = self._awake().schedule(
            worker_limits.within_cpu, args=[task, job, self._limits.cpu_seconds], timeout=self._limits.wall_seconds
        )
        return future  # type: ignore[no-any-return]  # pebble's futures are concurrent.futures' own

    def _result(self, task: Callable[[J], R], job: J, future: Future[Any], names: Callable[[J], str]) -> R | Refused:
        try:
            first: R = future.result()
            return first
        except Refused as refused:
            return refused
        except (ProcessExpired, TimeoutError, MemoryError) as error:
            logger.warning("a worker failed on {} ({}); trying once more", names(job), type(error).__name__)
        try:
            return self._start(task, job).result()
        except Refused as refused:
            return refused
        except TimeoutError:
            what = f"took longer than {self._limits.wall_seconds:g} s"
        except MemoryError:
            what = f"needed more than {self._limits.memory_mib} MiB of memory"
        except ProcessExpired:
            what = "made the program that reads it fail"
        return Refused([refuse("picture-defeats-reader", what, "save it anew, smaller", file=names(job))])

    def rest(self) -> None:
        """Lets the workers go; the next job starts new ones."""
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.stop()  # type: ignore[no-untyped-call]
            pool.join()

    def close(self) -> None:
        self.rest()
