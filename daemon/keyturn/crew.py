"""Where frame work runs. A crew takes a function and its jobs and gives the results in order.

A bounded window keeps memory flat however many frames a job has. A worker that dies or overruns its
limits is replaced and its task tried once more alone; a second failure costs that drop a reason.
"""

from __future__ import annotations

import ctypes
import math
import os
import resource
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, TimeoutError
from multiprocessing import get_context
from typing import Any, Protocol, TypeVar

from loguru import logger
from pebble import ProcessExpired, ProcessPool

from keyturn.reasons import Refused, refuse
from keyturn.rulebook import Workers

OPEN_FILES = 64
"""A worker needs its pipes, the picture it reads and two open clips."""

J = TypeVar("J")
R = TypeVar("R")


class Crew(Protocol):
    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        """Results in the order of the jobs; a job that is refused gives its `Refused`, and the rest go on.

        `names` tells which file of the drop a job is about.
        """

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

    def rest(self) -> None:
        return

    def close(self) -> None:
        return


class LocalCrew:
    """Processes on this machine, started at the first job and let go when the shop is quiet."""

    def __init__(self, size: int, limits: Workers) -> None:
        self._size = size or len(os.sched_getaffinity(0))
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

    def _start(self, task: Callable[[J], R], job: J) -> Future[R]:
        if self._pool is not None and not self._pool.active:
            self.rest()  # it could not start a worker, say; a new one may
        if self._pool is None:
            # Each worker is one of many already; its limit on memory counts idle threads' stacks too.
            os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
            self._pool = ProcessPool(
                max_workers=self._size,
                max_tasks=500,  # a slow leak in a decoder is given back with its process
                initializer=_prepare_worker,
                initargs=[self._limits.memory_mib],
                context=get_context("forkserver"),
            )
        future: Any = self._pool.schedule(
            _within_cpu, args=[task, job, self._limits.cpu_seconds], timeout=self._limits.wall_seconds
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


def _within_cpu(task: Callable[[J], R], job: J, cpu_seconds: int) -> R:
    """Runs the task with a limit on its own processor time: RLIMIT_CPU counts a process's whole life, so it
    is set anew for each task; beyond it the kernel ends the worker with SIGXCPU (setrlimit(2))."""
    used = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(used) + cpu_seconds, hard))
    return task(job)


def _prepare_worker(memory_mib: int) -> None:
    """Limits of one worker, and its end with its parent's: a killed service leaves no workers behind."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (memory_mib * 2**20, memory_mib * 2**20))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # frames go back through a pipe; a worker writes no file
    resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES))
    pr_set_pdeathsig = 1  # prctl(2)
    ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGKILL)
