"""Frame work on several machines: a crew whose workers belong to a Dask `distributed` cluster.

Dask places the jobs, restarts workers and runs a lost worker's jobs elsewhere. This module sends a few jobs at a time,
with their files, gives the results in order, limits how many jobs are under way so that memory does not grow, requires
the same versions on every machine, and tells the shop's faults from the pictures'. Only the scheduler's address must be
reachable from here.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from itertools import islice
from typing import Any, TypeVar

import dask
import distributed
from distributed.comm.core import CommClosedError
from distributed.scheduler import KilledWorker
from loguru import logger

from keyturn.shop.reasons import Refused, ShopFault, refuse
from keyturn.shop.rulebook import Workers
from keyturn.workers import remote_job
from keyturn.workers.batch_sizes import BatchSizes
from keyturn.workers.crew import DEFEATED
from keyturn.workers.job_messages import MOST_AT_ONCE, Parcel, SentBatch, handed_over, taken_together, together
from keyturn.workers.program_versions import program
from keyturn.workers.sent_files import MessageFiles, SentFiles

J = TypeVar("J")
R = TypeVar("R")

CONNECT_S = 10.0
WORKERS_WITHIN_S = 15.0
"""After this long without a worker the shop is told. A worker's machine may just be restarting."""

LOOK_S = 2.0
"""Seconds between two looks at how many workers there are."""

ANSWER_S = 60.0
"""Seconds in which an answer that is there must have come over the network; a new look begins its transfer anew."""

MOST_LOSSES = 5
"""A job is sent at most this many times, where workers that kept its files or ran it are lost."""


class ClusterCrew:
    """A crew of the workers of the cluster whose scheduler listens at `address`.

    That is tcp://host:port, or tls:// with Dask's own settings for certificates. It connects at the first job. Raise
    `ShopFault` where the cluster is at fault. Several threads may give it jobs at once.
    """

    def __init__(self, address: str, limits: Workers, preload: str = "") -> None:
        self._address, self._limits, self._preload = address, limits, preload
        self._program = program()
        self._client: Any = None
        self._closed = threading.Event()
        self._sending = threading.RLock()  # held while the crew connects, or hands files to the cluster
        self._files = SentFiles(self._hand_over)
        self._sizes = BatchSizes()
        self._threads, self._looked_at, self._seen_at = 0, 0.0, 0.0

    @property
    def size(self) -> int:
        """How many jobs the cluster could do at a time when last asked."""
        return self._threads

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        self._connect()
        window: deque[SentBatch[J]] = deque()
        messages = self._messages(task, iter(jobs), names)
        try:
            while True:
                while (room := max(2, 2 * self._workers()) - len(window)) > 0 and (drawn := together(messages, room)):
                    window.extend(self._sent(task, drawn))
                if not window:
                    return
                yield from self._first_results(task, window)
        finally:
            self._cancel([batch.future for batch in window])

    def _messages(self, task: Callable[[J], R], jobs: Iterator[J], names: Callable[[J], str]) -> Iterator[Parcel[J]]:
        """Draw the jobs and pack them, a few at a time."""
        drawn = 0
        while some := list(islice(jobs, self._sizes.size(_name_of(task), drawn, self._workers()))):
            yield self._packed(task, some, [names(job) for job in some])
            drawn += len(some)

    def _cancel(self, futures: Sequence[Any]) -> None:
        """Let the cluster forget the jobs whose results nobody takes any more."""
        if not futures or self._client is None or self._client.status != "running":
            return
        try:
            self._client.cancel(futures)
        except (OSError, RuntimeError, CancelledError, distributed.client.ClosedClientError) as error:
            logger.debug("cancelling jobs of the cluster: {}", error)

    def wake(self) -> None:
        """Do nothing: the cluster's workers run already."""

    def rest(self) -> None:
        """Leave the cluster, which then forgets the files it was sent."""
        self._leave()
        self._client = None
        self._files.forget()

    def shed(self) -> None:
        """Do nothing: Dask's own limits end workers that hold too much."""

    def close(self) -> None:
        """Leave the cluster for good. Another thread that waits for a job gets `CancelledError`."""
        self._closed.set()
        self._leave()

    def _leave(self) -> None:
        try:
            if self._client is not None:
                self._client.close(timeout=CONNECT_S)
        except (OSError, RuntimeError, CancelledError) as error:  # the scheduler is gone
            logger.debug("leaving the cluster: {}", error)

    # -- the cluster ------------------------------------------------------------------------------

    def _connect(self) -> None:
        with self._sending:
            if self._client is not None and self._client.status != "running":
                self.rest()
            if self._client is None:
                self._enter()

    def _enter(self) -> None:
        dask.config.set({"distributed.admin.large-graph-warning-threshold": "64 MiB"})  # pictures are large
        with self._talking():
            self._client = distributed.Client(  # type: ignore[no-untyped-call]
                self._address, timeout=CONNECT_S, set_as_default=False, name="keyturn"
            )
            try:
                self._wait_for_workers()
                self._require_same_programs()
            except BaseException:
                self.rest()
                raise

    def _wait_for_workers(self) -> None:
        self._seen_at = time.monotonic()
        self._looked_at = 0.0
        while not self._workers():
            time.sleep(0.1)
        logger.info("the cluster at {} does {} jobs at a time", self._address, self._threads)

    def _require_same_programs(self) -> None:
        for worker, theirs in self._client.run(program, on_error="return").items():
            if isinstance(theirs, BaseException):
                raise remote_job.cannot_run_keyturn(worker, theirs)
            remote_job.require_same(worker, theirs, self._program)

    def _workers(self) -> int:
        """Return how many jobs can be done at a time.

        Raise `ShopFault` where there has been no worker for `WORKERS_WITHIN_S`.
        """
        if self._closed.is_set():
            raise CancelledError
        now = time.monotonic()
        if now - self._looked_at >= LOOK_S or not self._threads:
            with self._talking():
                self._threads = sum(self._cluster().nthreads().values())
            self._looked_at = now
            self._seen_at = now if self._threads else self._seen_at
        if now - self._seen_at > WORKERS_WITHIN_S:
            what = f"the cluster at {self._address} has no workers"
            raise ShopFault(what, f"start some: dask worker {self._address}")
        return self._threads

    @contextmanager
    def _talking(self) -> Iterator[None]:
        """Turn errors of a block that talks to the cluster into `ShopFault`, after `close` into `CancelledError`."""
        try:
            yield
        except (OSError, RuntimeError, CancelledError, distributed.client.ClosedClientError) as error:
            if self._closed.is_set():
                raise CancelledError from error
            mend = "start the scheduler (dask scheduler), open its port to this machine, or mend crew in keyturn.toml"
            raise ShopFault(f"the cluster at {self._address} cannot be reached", mend) from error

    # -- sending ----------------------------------------------------------------------------------

    def _packed(self, task: Callable[[J], R], jobs: Sequence[J], names: Sequence[str]) -> Parcel[J]:
        files = MessageFiles()
        with self._sending:
            what = (self._limits, self._preload, task, jobs, names)
            packed_jobs = remote_job.packed(what, lambda path: self._files.add(path, files))
        return Parcel(jobs, names, packed_jobs, files)

    def _sent(self, task: Callable[[J], R], messages: Sequence[Parcel[J]]) -> list[SentBatch[J]]:
        with self._talking():
            return handed_over(self._cluster(), self._program, _name_of(task), messages)

    def _sent_anew(self, task: Callable[[J], R], jobs: Sequence[J], names: Sequence[str]) -> SentBatch[J]:
        (batch,) = self._sent(task, [self._packed(task, jobs, names)])
        return batch

    def _hand_over(self, data: bytes) -> Any:
        with self._talking():
            return self._client.scatter(remote_job.uncopied(data), hash=False)

    # -- results ----------------------------------------------------------------------------------

    def _first_results(self, task: Callable[[J], R], window: deque[SentBatch[J]]) -> Iterable[R | Refused]:
        """Take the first batches that are done from the window, and return their results; wait for one.

        At most a quarter of the window is taken: the workers have enough to do until more is sent.
        """
        ready = [window.popleft()]
        while window and len(ready) < min(MOST_AT_ONCE, self._threads // 2) and window[0].future.status == "finished":
            ready.append(window.popleft())
        taken = taken_together(self._client, ready) if len(ready) > 1 else None
        for number, batch in enumerate(ready):
            yield from self._results(task, batch) if taken is None else self._learnt(task, taken[number])

    def _results(self, task: Callable[[J], R], batch: SentBatch[J]) -> Iterable[R | Refused]:
        """Return the results of a batch. One that is lost is sent again job by job: so the job that ends its workers
        is told from the others."""
        if len(batch.jobs) == 1:
            return [self._result(task, batch)]
        try:
            return self._taken(task, batch)
        except (KilledWorker, CancelledError):
            self._require_connection()
            logger.warning("workers were lost with {} jobs; sending each anew", len(batch.jobs))
            self._files.forget()
            alone = [self._sent_anew(task, [job], [name]) for job, name in zip(batch.jobs, batch.names, strict=True)]
            return [self._result(task, one) for one in alone]

    def _result(self, task: Callable[[J], R], batch: SentBatch[J]) -> R | Refused:
        """Return the result of a batch of one job."""
        deaths, (name,) = 0, batch.names
        for _ in range(MOST_LOSSES):
            try:
                (result,) = self._taken(task, batch)
                return result
            except KilledWorker:
                deaths += 1
                if deaths == 2:
                    what = "made every worker that read it fail"
                    return Refused([refuse(DEFEATED, what, "save it anew, smaller", file=name)])
                logger.warning("workers failed on {}; trying once more", name)
            except CancelledError:
                self._require_connection()
                logger.warning("a worker was lost with the files of {}; sending them anew", name)
                self._files.forget()
            batch = self._sent_anew(task, batch.jobs, batch.names)
        raise ShopFault(f"the cluster at {self._address} loses its workers again and again", "see its workers' logs")

    def _taken(self, task: Callable[[J], R], batch: SentBatch[J]) -> list[R | Refused]:
        """Wait for a batch, and learn from it how long its jobs take."""
        try:
            done: remote_job.Done = self._awaited(batch.future)
        except ImportError as error:  # it joined later and has no Keyturn
            raise remote_job.cannot_run_keyturn("that ran a job", error) from error
        return self._learnt(task, done)

    def _learnt(self, task: Callable[[J], R], done: remote_job.Done) -> list[R | Refused]:
        self._sizes.learn(_name_of(task), len(done.results), done.seconds)
        return done.results

    def _awaited(self, future: Any) -> Any:
        while True:
            try:
                return future.result(timeout=ANSWER_S if future.status == "finished" else LOOK_S)
            except CommClosedError as error:
                raise CancelledError from error
            except TimeoutError:
                if future.status == "error":  # the job itself raised TimeoutError
                    return future.result()
            self._workers()

    def _require_connection(self) -> None:
        if self._closed.is_set():
            raise CancelledError
        with self._talking():
            self._cluster().nthreads()

    def _cluster(self) -> Any:
        """Return the connection. Raise ConnectionError where there is none: another thread may have left it."""
        if (client := self._client) is None or client.status != "running":
            raise ConnectionError("left")
        return client


def _name_of(task: Callable[..., Any]) -> str:
    return getattr(task, "__name__", "task")
