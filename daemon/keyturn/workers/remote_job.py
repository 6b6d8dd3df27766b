"""A job on its way to a worker on another machine: the job, and every file that it names.

The machines of a cluster need share no disk: a shared path would be one more thing that can be mounted wrongly,
and a file could change on it between two frames. So whatever files a job names travel with it, and the worker
reads copies that are called by what is in them.

A worker of the cluster hands each job on to a process of its own, under the limits of the local crew: a picture
that defeats its reader takes that process with it, never the worker and the jobs that wait there.
"""

from __future__ import annotations

import io
import multiprocessing
import pickle
import platform
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from functools import cache
from importlib import metadata
from multiprocessing.util import Finalize
from pathlib import Path
from typing import Any

from distributed import get_worker
from PIL import features

import keyturn
from keyturn.shop.reasons import Refused, ShopFault, shop_fault
from keyturn.shop.rulebook import Workers
from keyturn.workers.crew import LocalCrew

KEPT_BYTES = 256 * 2**20
"""Copies a worker's thread keeps, latest used last: a clip or a backdrop comes back with the next frame."""

LIBRARIES = ("numpy", "pillow", "av", "pillow-heif", "resvg-py")
CODECS = ("zlib", "jpg", "webp", "littlecms2", "libtiff", "avif")


# -- packing, where the service runs ------------------------------------------------------------------


def packed(content: object, enclose: Callable[[Path], str]) -> bytes:
    """`content` as a pickle, in which each file that it names stands as what `enclose` calls it."""

    class Packer(pickle.Pickler):
        def persistent_id(self, item: object) -> str | None:
            return enclose(item) if isinstance(item, Path) else None

    out = io.BytesIO()
    Packer(out, pickle.HIGHEST_PROTOCOL).dump(content)
    return out.getvalue()


def unpacked(goods: bytes, folder: Path) -> Any:
    """What was packed, its files looked for in `folder`."""

    class Unpacker(pickle.Unpickler):
        def persistent_load(self, name: str) -> Path:
            return folder / name

    return Unpacker(io.BytesIO(goods)).load()


# -- the same programs everywhere -----------------------------------------------------------------------


@cache
def versions() -> Mapping[str, str]:
    """All that decides the bytes of a frame and whether a job can be read; the same on every machine."""
    python = ".".join(platform.python_version_tuple()[:2])
    codecs = {f"Pillow's {name}": str(features.version(name)) for name in CODECS}
    return {"Python": python, "keyturn": keyturn.__version__} | {n: _version(n) for n in LIBRARIES} | codecs


def _version(distribution: str) -> str:
    try:
        return metadata.version(distribution)
    except metadata.PackageNotFoundError:
        return "none"


def require_same(worker: str, theirs: Mapping[str, str], ours: Mapping[str, str]) -> None:
    """Raises `ShopFault` naming the worker and all that differs."""
    other = {what: theirs.get(what, "none") for what in ours if theirs.get(what) != ours[what]}
    if other:
        differing = (f"{what} {version} instead of {ours[what]}" for what, version in other.items())
        mend = "install the same versions on every machine of the cluster and start its workers anew"
        raise ShopFault(f"the cluster's worker {worker} has {', '.join(differing)}", mend)


# -- at work, on the other machine ----------------------------------------------------------------------


def work(
    ours: Mapping[str, str], goods: bytes, enclosed: Mapping[str, bytes], names: tuple[str, ...], *sent: bytes
) -> Any:
    """One job, run by a worker of the cluster: the task's result, or its `Refused`.

    `goods` is (limits, preload, task, job, file name), packed; `enclosed` its files by name; `names` those of the
    files in `sent`, which the cluster keeps for several jobs. Raises `ShopFault` naming this worker.
    """
    worker = get_worker()
    require_same(worker.address, versions(), ours)
    try:
        return _hand(worker.local_directory).do(goods, {**enclosed, **dict(zip(names, sent, strict=True))})
    except OSError as error:
        fault = shop_fault(error)
        if fault is None:
            raise
        raise ShopFault(f"the cluster's worker {worker.address}: {fault.what}", fault.mend) from error


_own = threading.local()


def _hand(place: str) -> Hand:
    if not hasattr(_own, "hand"):
        # Processes that multiprocessing calls daemons may have no children; the nanny of a Dask worker makes it one.
        # Ours end with the worker all the same.
        multiprocessing.current_process().daemon = False
        _own.hand = Hand(place)
    hand: Hand = _own.hand
    return hand


class Hand:
    """One thread of a worker: the process that reads its pictures, and the folder of their files in `place`."""

    def __init__(self, place: str) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="keyturn-", dir=place))  # Dask clears `place` away
        self._files: OrderedDict[str, int] = OrderedDict()
        self._crew: LocalCrew | None = None
        self._limits: Workers | None = None
        Finalize(None, self.close, exitpriority=1)  # before multiprocessing ends, and the pool replaces, its processes

    def close(self) -> None:
        if self._crew is not None:
            self._crew.close()

    def do(self, goods: bytes, files: Mapping[str, bytes]) -> Any:
        self._keep(files)
        limits, preload, task, job, name = unpacked(goods, self._folder)
        result: Any | Refused
        (result,) = self._crew_within(limits, preload).run(task, [job], lambda _: name)
        return result

    def _keep(self, files: Mapping[str, bytes]) -> None:
        for name, data in files.items():
            if name not in self._files:
                (self._folder / name).write_bytes(data)
            self._files[name] = len(data)
            self._files.move_to_end(name)
        while sum(self._files.values()) > KEPT_BYTES and (oldest := next(iter(self._files))) not in files:
            (self._folder / oldest).unlink()
            del self._files[oldest]

    def _crew_within(self, limits: Workers, preload: str) -> LocalCrew:
        if self._crew is None or limits != self._limits:
            self.close()
            self._crew, self._limits = LocalCrew(1, limits, preload), limits
        return self._crew
