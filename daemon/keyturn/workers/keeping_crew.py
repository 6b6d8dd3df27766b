"""A crew that does no work twice: results are kept on disk, and found again by a later drop or another process.

A result is kept under a digest of the task, all that its job says, the bytes of the files that the job names, and the
program's own code and libraries. How a file is called in its drop is not part of that. A result that mentions a file is
kept without its name; the drop that finds it puts in the names of its own files.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Generic, TypeVar

from keyturn.shop.file_digests import FileDigests
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import Crew, end

J = TypeVar("J")
R = TypeVar("R")

Rename = Callable[[str], str]

FOUND_AHEAD = 16
"""So many results may wait to be taken while the workers are given the next job: a bound of the memory."""


@dataclass(frozen=True)
class KeptTask(Generic[J, R]):
    """A task whose results are kept: they depend on nothing but the job and the content of the files it names.

    `result` is the type of its results. `renamed_job` and `renamed_result` put the names in place that a function gives
    for the names of files in the drop.

    Where it costs less to do jobs `together`, that task takes several and returns their results, None for one that it
    did not do; `beside` gives the jobs that may as well be done with a job. What they give is kept for later.
    """

    task: Callable[[J], R]
    result: Any
    renamed_job: Callable[[J, Rename], J]
    renamed_result: Callable[[R, Rename], R] = lambda result, rename: result
    together: Callable[[tuple[J, ...]], tuple[R | None, ...]] | None = None
    beside: Callable[[J], tuple[J, ...]] = lambda job: ()


class _Places:
    """Gives each name its place in the order in which names are asked for; and the name of each place."""

    def __init__(self) -> None:
        self.of: dict[str, str] = {}

    def __call__(self, name: str) -> str:
        return self.of.setdefault(name, str(len(self.of)))

    def name(self, place: str) -> str:
        return next((name for name, at in self.of.items() if at == place), place)


@dataclass(slots=True)
class _Asked(Generic[J]):
    """A job, the key of its result and the files it names; `found` where there seems to be one.

    `beside` are the jobs that are done with it.
    """

    job: J
    places: _Places
    key: bytes | None = None
    files: tuple[tuple[Path, bytes], ...] = ()
    found: bool = False
    beside: tuple[_Asked[J], ...] = ()


class KeepingCrew:
    """A crew that asks `kept` before it has `crew` do one of the `tasks`. `code` is the digest of the program."""

    def __init__(
        self, crew: Crew, kept: KeptResults, tasks: Iterable[KeptTask[Any, Any]], digests: FileDigests, code: bytes
    ) -> None:
        self._crew, self._kept, self._digests, self._code = crew, kept, digests, code
        self._tasks: Mapping[Any, KeptTask[Any, Any]] = {kept_task.task: kept_task for kept_task in tasks}

    def run(self, task: Callable[[J], R], jobs: Iterable[J], names: Callable[[J], str]) -> Iterator[R | Refused]:
        """Yield as `Crew.run` does."""
        kept_task = self._tasks.get(task)
        if kept_task is None:
            yield from self._crew.run(task, jobs, names)
            return
        left = iter(jobs)
        asked: deque[_Asked[J]] = deque()
        more = True
        while more:
            more = False

            def missing() -> Iterator[_Asked[J]]:
                """Yield the jobs that are to be done, until enough results wait; `asked` gets every job."""
                nonlocal more
                for job in left:
                    one = self._asked(kept_task, job)
                    asked.append(one)
                    if not one.found:
                        yield one
                    elif sum(one.found for one in asked) >= FOUND_AHEAD:
                        more = True
                        return

            results = self._done(kept_task, missing(), names)
            try:
                for result in results:
                    yield from self._waiting(kept_task, asked, names)
                    self._keep(kept_task, asked.popleft(), result)
                    yield result
                yield from self._waiting(kept_task, asked, names)
            finally:
                end(results)

    def _done(
        self, kept_task: KeptTask[J, R], missing: Iterator[_Asked[J]], names: Callable[[J], str]
    ) -> Iterator[R | Refused]:
        """Yield the results of the workers; keep those of the jobs beside."""
        if kept_task.together is None:
            yield from self._crew.run(kept_task.task, (one.job for one in missing), names)
            return
        given: deque[_Asked[J]] = deque()

        def several() -> Iterator[tuple[J, ...]]:
            for one in missing:
                every = (self._asked(kept_task, job) for job in kept_task.beside(one.job))
                given.append(replace(one, beside=tuple(job for job in every if not job.found)))
                yield (one.job, *(job.job for job in given[-1].beside))

        results = self._crew.run(kept_task.together, several(), lambda jobs: names(jobs[0]))
        try:
            for found in results:
                one = given.popleft()
                if isinstance(found, Refused):
                    yield found
                    continue
                result, *others = found
                for job, other in zip(one.beside, others, strict=True):
                    if other is not None:
                        self._keep(kept_task, job, other)
                assert result is not None, "the first job is always done"
                yield result
        finally:
            end(results)

    def _waiting(
        self, kept_task: KeptTask[J, R], asked: deque[_Asked[J]], names: Callable[[J], str]
    ) -> Iterator[R | Refused]:
        """Yield the results that come before the next one of the workers."""
        while asked and asked[0].found:
            one = asked.popleft()
            result = self._found(kept_task, one)
            if result is None:
                (made,) = self._crew.run(kept_task.task, [one.job], names)
                self._keep(kept_task, one, made)
                yield made
            else:
                yield result

    def _asked(self, kept_task: KeptTask[J, R], job: J) -> _Asked[J]:
        places = _Places()
        files: dict[Path, bytes] = {}

        def digest_of(path: Path) -> bytes:
            path = path.resolve() if path.is_symlink() else path  # a typeface of the system may be one
            return files.setdefault(path, self._digests.of(path))

        nameless = kept_task.renamed_job(job, places)
        try:
            key = _key(self._code, kept_task.task, nameless, digest_of)
        except OSError:  # the worker meets it too, and says so
            return _Asked(job, places)
        return _Asked(job, places, key, tuple(files.items()), found=self._kept.has(key))

    def _found(self, kept_task: KeptTask[J, R], one: _Asked[J]) -> R | None:
        data = self._kept.read(one.key) if one.key else None
        result: R | None = _unpacked(kept_task.result, data) if data is not None else None
        return None if result is None else kept_task.renamed_result(result, one.places.name)

    def _keep(self, kept_task: KeptTask[J, R], one: _Asked[J], result: R | Refused) -> None:
        """Keep a result, unless a file that it was made from was written meanwhile."""
        if one.key is None or isinstance(result, Refused):
            return
        try:
            same = all(self._digests.still_is(path, digest) for path, digest in one.files)
        except OSError:
            return
        if same:
            self._kept.write(one.key, _packed(kept_task.renamed_result(result, one.places)))

    def wake(self) -> None:
        self._crew.wake()

    def rest(self) -> None:
        self._crew.rest()

    def shed(self) -> None:
        self._crew.shed()

    def close(self) -> None:
        self._crew.close()


# -- keys and results as bytes ------------------------------------------------------------------------


def _key(code: bytes, task: Callable[..., Any], job: object, digest_of: Callable[[Path], bytes]) -> bytes:
    """Return the digest of all that the result depends on. Raise OSError where a file cannot be read."""
    import msgspec
    from blake3 import blake3

    def plain(value: object) -> object:
        if isinstance(value, Path):
            return value.suffix.lower(), digest_of(value)
        return _plain(value)

    said = msgspec.msgpack.encode((code, task.__module__, task.__qualname__, job), enc_hook=plain)
    return blake3(said).digest()


def _packed(result: object) -> bytes:
    import msgspec

    return msgspec.msgpack.encode(result, enc_hook=_plain)


def _unpacked(wanted: Any, data: memoryview) -> Any:
    """Return the result; None where the bytes are none."""
    import msgspec

    try:
        return _decoder(wanted).decode(data)
    except (msgspec.DecodeError, ValueError):
        return None


_building = threading.Lock()
"""Held while a decoder is built. msgspec notes that it knows a dataclass before it knows all of its fields: a decoder
that another thread builds meanwhile would end the program."""


def _decoder(wanted: Any) -> Any:
    with _building:
        return _built_decoder(wanted)


@lru_cache(maxsize=16)
def _built_decoder(wanted: Any) -> Any:
    import msgspec

    return msgspec.msgpack.Decoder(wanted, dec_hook=_made_of_plain)


def _plain(value: object) -> object:
    """Return as plain values what msgspec does not know: arrays and pydantic's models."""
    import numpy as np
    from pydantic import BaseModel

    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, np.ascontiguousarray(value).data
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, BaseModel):
        return _dumped(value)
    raise NotImplementedError(f"{type(value)} cannot be kept")


@lru_cache(maxsize=64)
def _dumped(model: Any) -> Any:
    """Every job of a drop holds the same rules."""
    return model.model_dump(mode="json")


def _made_of_plain(wanted: Any, value: Any) -> Any:
    import numpy as np

    origin = getattr(wanted, "__origin__", wanted)
    if origin is np.ndarray:
        dtype, shape, data = value
        return np.frombuffer(data, dtype=dtype).reshape(shape)
    return wanted.model_validate(value)
