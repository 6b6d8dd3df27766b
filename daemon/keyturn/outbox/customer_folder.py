"""The revisions in a customer's folder in the outbox. What has not changed on disk is not read again.

The folder grows for as long as the shop lasts, and every new job looks through it.
"""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.bounded_record import Record, parsed
from keyturn.shop.file_identity import FileIdentity

RECORD_MOST_BYTES = 64 * 2**20
"""A larger file is not taken for a record."""

_REMEMBERED = 16_384
"""Times of so many revisions are kept in memory: about 5 MB."""

FileState = tuple[FileIdentity, int]
"""A file's identity and its ctime in nanoseconds, which also changes with who may read it (inode(7))."""


def newest_first(customer: Path) -> list[str]:
    """Return the names of the revisions in `customer`, newest first by the time in their records.

    Leave out revisions whose record is spoilt or may not be read. Return an empty list where there is no folder.
    """
    dated = [
        (made, name) for name in revision_names(customer) if (made := _made(f"{customer}/{name}/job.json")) is not None
    ]
    return [name for _, name in sorted(dated, reverse=True)]


def revisions_with_record(customer: Path) -> list[str]:
    """Return the names of the revisions in `customer` that have a record, readable or not."""
    return [name for name in revision_names(customer) if file_state(f"{customer}/{name}/job.json") is not None]


def revision_names(customer: Path) -> list[str]:
    """Return the names of the revisions' folders in `customer`.

    Return an empty list where there is no such folder or the service may not read it. A link leads to no revision.
    """
    if customer.is_symlink():
        return []
    try:
        with os.scandir(customer) as entries:
            return [entry.name for entry in entries if job_and_number(entry.name) and not entry.is_symlink()]
    except (FileNotFoundError, NotADirectoryError):
        return []
    except PermissionError:
        if durable_files.may_read(customer):
            raise
        return []


def file_state(path: str | Path) -> FileState | None:
    """Return a value that differs whenever the file's content, or who may read it, has changed.

    Return None where there is no such file, or the service may not look into its folder. Raise PermissionError where
    the service may look and the disk failed for a moment.
    """
    try:
        seen = os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except PermissionError:
        if durable_files.may_read(path):
            raise
        return None
    return FileIdentity.of(seen), seen.st_ctime_ns


def _made(path: str) -> tuple[str, int] | None:
    """Return what `_time_and_number` says of the record as it is now; None where it may not be read."""
    try:
        state = file_state(path)
        return None if state is None else _time_and_number(path, state)
    except PermissionError:
        if durable_files.may_read(path):
            raise
        return None


class _TimeAndNumber(Record):
    made_at: str
    revision: int


@lru_cache(maxsize=_REMEMBERED)
def _time_and_number(path: str, state: FileState) -> tuple[str, int] | None:
    """Return the ISO 8601 time and the revision number in the record at `path`; None where it is no record.

    `state` is part of the cache's key: a file in another state is read again.
    """
    try:
        record = parsed(durable_files.read_plain(Path(path), RECORD_MOST_BYTES) or b"", _TimeAndNumber)
    except ValueError:
        return None
    return record.made_at, record.revision
