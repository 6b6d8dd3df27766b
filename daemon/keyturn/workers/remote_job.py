"""Jobs for a worker on another machine: packed with the files that they name, and run there.

The machines of a cluster need no shared disk. A shared path could be mounted wrongly, and a file could change on it
between two frames. So the files that a job names are sent with it, and the worker reads copies.

A worker of the cluster runs each job in a process of its own, under the limits of the local crew. A picture that makes
its reader crash ends that process alone, not the worker and the jobs that wait there.
"""

from __future__ import annotations

import io
import json
import multiprocessing
import pickle
import tempfile
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from multiprocessing.util import Finalize
from pathlib import Path
from typing import Any

import numpy as np
from distributed import get_worker
from numpy.typing import NDArray

from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.rulebook import Workers
from keyturn.workers.crew import LocalCrew
from keyturn.workers.program_versions import program

KEPT_BYTES = 256 * 2**20
"""A thread of a worker keeps copies of up to this size: the next frame often needs the same clip or backdrop."""

Bytes = bytes | memoryview
Array = NDArray[np.uint8]


# -- packing, where the service runs ------------------------------------------------------------------


def packed(content: object, name_of: Callable[[Path], str]) -> bytes:
    """Return `content` as a pickle, with each path replaced by the name that `name_of` gives it."""

    class Packer(pickle.Pickler):
        def persistent_id(self, item: object) -> str | None:
            return name_of(item) if isinstance(item, Path) else None

    out = io.BytesIO()
    Packer(out, pickle.HIGHEST_PROTOCOL).dump(content)
    return out.getvalue()


def uncopied(data: bytes) -> Array:
    """Return the bytes as an array, which is sent as it lies in memory: pickle copies bytes, and no array (PEP 574).

    Of a picture of 3.4 MB that saves the service 5 ms: Dask looks through what was pickled, too.
    """
    return np.frombuffer(data, np.uint8)


def unpacked(pickled: Bytes, folder: Path) -> Any:
    """Return what was packed, with each name replaced by the path of that file in `folder`."""

    class Unpacker(pickle.Unpickler):
        def persistent_load(self, name: str) -> Path:
            return folder / name

    return Unpacker(io.BytesIO(pickled)).load()


# -- the same programs everywhere -----------------------------------------------------------------------


def as_text(ours: Mapping[str, str]) -> str:
    """Return the versions as one item of a message: Dask looks at each item that it sends."""
    return json.dumps(ours)


def require_same(worker: str, theirs: Mapping[str, str], ours: Mapping[str, str]) -> None:
    """Raise `ShopFault` where the versions differ, with the worker and everything that differs."""
    other = {what: theirs.get(what, "none") for what in ours if theirs.get(what) != ours[what]}
    if other:
        differing = (f"{what} {version} instead of {ours[what]}" for what, version in other.items())
        mend = "install the same versions on every machine of the cluster and start its workers anew"
        raise ShopFault(f"the cluster's worker {worker} has {', '.join(differing)}", mend)


def cannot_run_keyturn(worker: str, error: BaseException) -> ShopFault:
    """Return the shop's fault of a worker that has no Keyturn."""
    what = f"the cluster's worker {worker} cannot run Keyturn ({type(error).__name__}: {error})"
    return ShopFault(what, "install the same Keyturn on every machine of the cluster")


# -- running, on the other machine ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Done:
    """What jobs that were sent together gave, in their order, and how many seconds their task took for all of them."""

    results: list[Any]
    seconds: float


def work(packed_jobs: Array, files: Mapping[str, Array], kept: Mapping[str, Array], ours: str) -> Done:
    """Run a few jobs on a worker of the cluster; return each one's result, or its `Refused`.

    `packed_jobs` is (limits, preload, task, jobs, names of their files), packed. `files` are the jobs' files by name,
    `kept` further ones, which the cluster keeps for several messages; all bytes come as arrays, see `uncopied`. `ours`
    are the service's versions, from `as_text`. Raise `ShopFault`, naming this worker, where versions differ or the
    machine is at fault.
    """
    worker = get_worker()
    require_same(worker.address, program(), json.loads(ours))
    try:
        every = {name: array.data for name, array in {**files, **kept}.items()}
        return _thread_runner(worker.local_directory).run(packed_jobs.data, every)
    except OSError as error:
        fault = shop_fault(error)
        if fault is None:
            raise
        raise ShopFault(f"the cluster's worker {worker.address}: {fault.what}", fault.mend) from error


_thread = threading.local()


def _thread_runner(folder: str) -> JobRunner:
    """Return this thread's runner; the first call makes it, with its files in `folder`."""
    if not hasattr(_thread, "runner"):
        # Processes that multiprocessing calls daemons may have no children, and the nanny of a Dask worker makes the
        # worker one. Our processes end with the worker all the same; see `worker_limits`.
        multiprocessing.current_process().daemon = False
        _thread.runner = JobRunner(folder)
    runner: JobRunner = _thread.runner
    return runner


class JobRunner:
    """Runs the jobs of one thread of a worker in one process, and keeps their files in a folder below `folder`."""

    def __init__(self, folder: str) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="keyturn-", dir=folder))  # Dask deletes `folder`
        self._files: OrderedDict[str, int] = OrderedDict()
        self._crew: LocalCrew | None = None
        self._limits: Workers | None = None
        Finalize(None, self.close, exitpriority=1)  # before multiprocessing ends, and the pool replaces, its processes

    def close(self) -> None:
        if self._crew is not None:
            self._crew.close()

    def run(self, packed_jobs: Bytes, files: Mapping[str, Bytes]) -> Done:
        """Run jobs with their files, by name, one after another."""
        self._keep(files)
        limits, preload, task, jobs, names = unpacked(packed_jobs, self._folder)
        crew = self._crew_within(limits, preload)
        name_of = {id(job): name for job, name in zip(jobs, names, strict=True)}
        began = time.monotonic()
        results = list(crew.run(task, jobs, lambda job: name_of[id(job)]))
        return Done(results, time.monotonic() - began)

    def _keep(self, files: Mapping[str, Bytes]) -> None:
        """Write the files that are not there yet. Then delete the longest unused: at most `KEPT_BYTES` are kept."""
        for name, data in files.items():
            if name not in self._files:
                (self._folder / name).write_bytes(data)
            self._files[name] = len(data)
            self._files.move_to_end(name)
        while sum(self._files.values()) > KEPT_BYTES and (oldest := next(iter(self._files))) not in files:
            (self._folder / oldest).unlink()
            del self._files[oldest]

    def _crew_within(self, limits: Workers, preload: str) -> LocalCrew:
        """Return the crew of one process; a new one where the limits have changed."""
        if self._crew is None or limits != self._limits:
            self.close()
            self._crew, self._limits = LocalCrew(1, limits, preload), limits
        return self._crew
