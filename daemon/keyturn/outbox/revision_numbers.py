"""Numbers of revisions: a folder `<job>-r<n>` is the n-th of its job, and a number is never used again.

Every folder that has held a revision tells: outbox, archive, and `state/numbers/<customer>/`, where an empty file
of the revision's name stays when fitters take the revision away and the archive is cleared.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from keyturn.shop import durable_files

_REVISION = re.compile(r"(?P<job>.+)-r(?P<number>[1-9][0-9]*)")


def job_and_number(name: str) -> tuple[str, int] | None:
    """Of a revision's folder; None for any other name."""
    found = _REVISION.fullmatch(name)
    return (found["job"], int(found["number"])) if found else None


def next_number(bases: Iterable[Path], customer: str, job: str) -> int:
    """One above every revision of the job that any of the folders `<base>/<customer>` tells of."""
    return max((number for base in bases for number, _ in _of_job(base / customer, job)), default=0) + 1


def keep(numbers: Path, target: str) -> None:
    """Notes that `target`, `<customer>/<job>-r<n>`, was published; what noted lower numbers of the job goes."""
    place = numbers / target
    if place.exists():
        return
    for folder in (numbers, place.parent):
        if not folder.is_dir():
            folder.mkdir()
            durable_files.fsync_dir(folder.parent)
    place.touch()
    durable_files.fsync_dir(place.parent)
    named = job_and_number(place.name)
    if named is not None:
        job, number = named
        for lower in [path for n, path in _of_job(place.parent, job) if n < number]:
            lower.unlink()


def _of_job(folder: Path, job: str) -> Iterator[tuple[int, Path]]:
    """The job's numbers in a customer's folder; in the archive `--<claim>` follows them."""
    for path in folder.iterdir() if folder.is_dir() else ():
        if not path.name.startswith(f"{job}-r"):  # told apart first where a customer has thousands
            continue
        named = job_and_number(path.name.partition("--")[0])
        if named is not None and named[0] == job:
            yield named[1], path
