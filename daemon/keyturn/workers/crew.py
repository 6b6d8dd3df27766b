"""Crews: they run a function over many jobs, in worker processes or here, and give the results in order.

Only a limited number of jobs is under way at a time, so memory does not grow with the number of frames. A worker that
dies or overruns its limits is replaced and its job tried once more. A second failure refuses that job. Workers that
cannot be started are no job's fault but the machine's.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import CancelledError, Future, TimeoutError, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any, NamedTuple, Protocol, TypeVar

from loguru import logger
from pebble import ProcessExpired, ProcessPool

from keyturn.shop.reasons import Refused, ShopFault, refuse
from keyturn.shop.rulebook import Workers
from keyturn.workers import worker_limits
from keyturn.workers.process_start import ForkingContext

J = TypeVar("J")
R = TypeVar("R")

DEFEATED = "picture-defeats-reader"
"""The code of the reason why a picture is refused: a worker failed on it, and another one after it."""


MOST_STARTS = 4
"""For one job the workers are started so many times. Then they are given nothing to do: where they live, the job is to
blame, else the machine."""

LOOK_S = 1.0
"""While a result is waited for, the pool is looked at so often, in seconds: one that failed may give no result."""


class Crew(Protocol):
    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        """Yield the results in the order of the jobs; for a job that is refused, its `Refused`.

        `names` returns the file of the drop that a job is about. Jobs are taken from `jobs` as results are taken.
        Raise `ShopFault` where no workers can be had, `CancelledError` once the crew is closed.
        """

    def wake(self) -> None:
        """Start the workers before the first job.

        A program should call this before it starts threads; see `process_start`.
        """

    def rest(self) -> None:
        """End the workers while there is nothing to do; the next job starts new ones."""

    def shed(self) -> None:
        """Give back the memory that the work on one drop has left with the workers."""

    def close(self) -> None:
        """End the workers for good."""


def end(results: Iterator[Any]) -> None:
    """Break off a crew's `run`: jobs that are under way are ended as far as they can be."""
    if isinstance(results, Generator):
        results.close()


class InlineCrew:
    """A crew without workers, which runs the jobs in this process: for tests and for single pictures."""

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

    def shed(self) -> None:
        return

    def close(self) -> None:
        return


class _Given(NamedTuple):
    """A job that was given to a pool of workers. A pool that has ended leaves its futures without a result."""

    future: Future[Any]
    pool: ProcessPool


class LocalCrew:
    """A crew of processes on this machine, started at the first job. Several threads may give it jobs at once.

    `size` is the number of processes, 0 for one a processor. `preload` names a module that imports what the tasks
    need: it is imported once, before the workers are forked.
    """

    def __init__(self, size: int, limits: Workers, preload: str = "") -> None:
        self._size = size or len(os.sched_getaffinity(0))
        self._preload = preload
        self._limits = limits
        self._pool: ProcessPool | None = None
        self._changing = threading.RLock()  # held while a pool is begun, given a job, or taken away
        self._runs = 0
        self._closed = False

    @property
    def size(self) -> int:
        return self._size

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        window: deque[tuple[J, _Given]] = deque()
        with self._changing:
            self._runs += 1
        try:
            for job in jobs:
                window.append((job, self._start(task, job)))
                if len(window) >= 2 * self._size:
                    first, given = window.popleft()
                    yield self._result(task, first, given, names)
            while window:
                first, given = window.popleft()
                yield self._result(task, first, given, names)
        finally:
            with self._changing:
                self._runs -= 1
            for _, given in window:
                given.future.cancel()

    def wake(self) -> None:
        with self._changing:
            try:
                active = self._running_pool().active  # reading it starts them
            except (RuntimeError, OSError):
                active = False
            if not active:
                self.rest()  # the first job tries again and reports it

    def _running_pool(self) -> ProcessPool:
        if self._closed:
            raise CancelledError
        if self._pool is not None and not self._pool.active:
            self.rest()  # the pool has failed, for example to start a worker; a new one may not
        if self._pool is None:
            self._pool = ProcessPool(
                max_workers=self._size,
                max_tasks=2000,  # a worker that leaks memory is replaced now and then, seldom within one drop
                initializer=worker_limits.prepare,
                initargs=[self._limits.memory_mib],
                context=ForkingContext(self._preload),
            )
        return self._pool

    def _start(self, task: Callable[[J], R], job: J) -> _Given:
        """Give the job to the workers. Begin with new ones where they fail; raise `ShopFault` where those fail too."""
        with self._changing:
            try:
                return self._scheduled(task, job)
            except (RuntimeError, OSError) as error:  # no process, thread, pipe or semaphore is to be had
                logger.warning("the workers cannot be started ({}); trying once more", _why(error))
            self.rest()
            try:
                return self._scheduled(task, job)
            except (RuntimeError, OSError) as error:
                raise _no_workers(error) from error

    def _scheduled(self, task: Callable[[J], R], job: J) -> _Given:
        pool = self._running_pool()
        future: Any = pool.schedule(
            worker_limits.within_cpu, args=[task, job, self._limits.cpu_seconds], timeout=self._limits.wall_seconds
        )
        return _Given(future, pool)  # pebble's futures are concurrent.futures' own

    def _made(self, task: Callable[[J], R], job: J, given: _Given) -> R:
        """Return what the workers make of the job. Where the pool broke, give it to new ones.

        A job before this one may have spoilt a worker's memory. Or this job ends its worker so soon that pebble has not
        heard yet that it was begun: then workers that do nothing else live, and the job is to blame, not the machine.
        Raise `ProcessExpired` in that case.
        """
        for _ in range(MOST_STARTS - 1):
            try:
                return self._awaited(given)  # type: ignore[no-any-return]
            except BrokenProcessPool as error:
                logger.warning("the workers died ({}); trying once more", _why(error))
            given = self._start(task, job)
        try:
            return self._awaited(given)  # type: ignore[no-any-return]
        except BrokenProcessPool as error:
            if self._live():
                raise ProcessExpired("Abnormal termination") from error  # type: ignore[no-untyped-call]
            raise _no_workers(error) from error

    def _live(self) -> bool:
        """Tell whether workers live that are given nothing to do."""
        try:
            return bool(self._awaited(self._start(worker_limits.nothing, None)))
        except (BrokenProcessPool, ProcessExpired, TimeoutError):
            return False

    def _awaited(self, given: _Given) -> Any:
        while not wait([given.future], timeout=LOOK_S).done:
            if self._closed or not given.pool.active:
                break
        if self._closed:  # a worker that was killed for that says nothing of its job
            raise CancelledError
        if not given.future.done():
            raise BrokenProcessPool("the pool has ended")
        return given.future.result()

    def _result(self, task: Callable[[J], R], job: J, given: _Given, names: Callable[[J], str]) -> R | Refused:
        try:
            return self._made(task, job, given)
        except Refused as refused:
            return refused
        except (ProcessExpired, TimeoutError, MemoryError) as error:
            logger.warning("a worker failed on {} ({}); trying once more", names(job), type(error).__name__)
        try:
            return self._made(task, job, self._start(task, job))
        except Refused as refused:
            return refused
        except TimeoutError:
            what = f"took longer than {self._limits.wall_seconds:g} s"
        except MemoryError:
            what = f"needed more than {self._limits.memory_mib} MiB of memory"
        except ProcessExpired:
            what = "made the program that reads it fail"
        return Refused([refuse(DEFEATED, what, "save it anew, smaller", file=names(job))])

    def rest(self) -> None:
        with self._changing:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.stop()  # type: ignore[no-untyped-call]
            pool.join()

    def shed(self) -> None:
        """End the workers where one of them keeps more than `kept_mib`: the pictures that it read last.

        Ending them and starting new ones takes 0.1 s. While they have jobs they go on: what they read last is in use.
        """
        with self._changing:
            held = [worker_limits.held_mib(pid) for pid in self._workers()] if not self._runs else []
            if max(held, default=0.0) > self._limits.kept_mib:
                logger.debug("the workers keep {} MiB: new ones", " and ".join(f"{mib:.0f}" for mib in held))
                self.rest()

    def _workers(self) -> dict[int, Any]:
        """Return the workers that run, by their process ids."""
        pool = self._pool
        return {} if pool is None else dict(pool._pool_manager.worker_manager.workers)

    def close(self) -> None:
        self._closed = True
        if (pool := self._pool) is not None:
            _kill(pool)  # whoever holds `_changing` may wait for them
        with self._changing:
            pool, self._pool = self._pool, None
        if pool is not None:
            for worker in _kill(pool):
                worker.join()
            _in_background(pool.join)


def _kill(pool: ProcessPool) -> list[Any]:
    """Kill the workers and return them: one that reads a picture takes no notice of SIGTERM, and pebble's `join` gives
    each 3 s."""
    pool.stop()  # type: ignore[no-untyped-call]
    workers = list(pool._pool_manager.worker_manager.workers.values())
    for worker in workers:
        worker.kill()
    return workers


def _in_background(work: Callable[[], None]) -> None:
    """Do what the program need not wait for, here the end of pebble's threads: they look up ten times a second."""
    try:
        threading.Thread(target=work, name="workers' end", daemon=True).start()
    except RuntimeError:  # no thread is to be had
        work()


def _no_workers(error: Exception) -> ShopFault:
    mend = "the machine is out of memory or processes: close programs, or allow the service more (MemoryMax, TasksMax)"
    return ShopFault(f"no workers can be started ({_why(error)})", mend)


def _why(error: Exception) -> str:
    return str(error) or str(error.__cause__)
