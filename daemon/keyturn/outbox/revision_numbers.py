"""Numbers of revisions: the folder `<job>-r<n>` is the n-th revision of its job, and a number is never used again.

The numbers in use show in every folder that has held a revision: the outbox, the archive, and
`state/numbers/<customer>/`. There an empty file with the revision's name stays when fitters take the revision away
and the archive is cleared.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from keyturn.shop import durable_files

_REVISION = re.compile(r"(?P<job>.+)-r(?P<number>[1-9][0-9]{0,8})")

HIGHEST = 900_000_000
"""Numbers above this are somebody's joke: the next number is not counted from them."""


def job_and_number(name: str) -> tuple[str, int] | None:
    """Return the job and the number in a revision's folder name; None for any other name."""
    found = _REVISION.fullmatch(name)
    return (found["job"], int(found["number"])) if found else None


def next_number(bases: Iterable[Path], customer: str, job: str) -> int:
    """Return the number after the job's highest in any of the folders `<base>/<customer>`; 1 where there is none."""
    numbers = (number for base in bases for number, _ in _of_job(base / customer, job))
    return max((number for number in numbers if number <= HIGHEST), default=0) + 1


def record_number(numbers: Path, target: str) -> None:
    """Note in `numbers` that `target`, `<customer>/<job>-r<n>`, was published. Remove the job's lower numbers."""
    place = numbers / target
    if place.exists():
        return
    durable_files.make_folders(numbers, place.parent)
    place.touch()
    durable_files.fsync_dir(place.parent)
    named = job_and_number(place.name)
    if named is not None:
        job, number = named
        for lower in [path for n, path in _of_job(place.parent, job) if n < number]:
            lower.unlink()


def _of_job(folder: Path, job: str) -> Iterator[tuple[int, Path]]:
    """Yield each number of the job in a customer's folder, and its path.

    In the archive the number is followed by `--<claim>`.
    """
    for path in folder.iterdir() if folder.is_dir() else ():
        if not path.name.startswith(f"{job}-r"):  # quicker than the pattern where a customer has thousands
            continue
        named = job_and_number(path.name.partition("--")[0])
        if named is not None and named[0] == job:
            yield named[1], path
