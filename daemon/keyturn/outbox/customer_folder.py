"""A customer's shelf in the outbox: its revisions, newest first, without reading again what did not change.

A shelf grows for as long as the shop lasts, and it is looked through with each new job.
"""

from __future__ import annotations

import json
import os
from functools import lru_cache
from pathlib import Path

from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.file_identity import FileIdentity

RECORD_MOST_BYTES = 64 * 2**20
_REMEMBERED = 16_384
"""Revisions whose time is kept in mind: about 5 MB."""

FileState = tuple[FileIdentity, int]
"""A file's identity and its ctime in nanoseconds, which also changes with who may read it (inode(7))."""


def newest_first(customer: Path) -> list[str]:
    """Names of the revisions in `customer` whose records tell when they were made; not by their files' times.

    A record that is spoilt or closed to us is left out. A folder that is not there holds none.
    """
    dated = [(made, name) for name in names(customer) if (made := _made(f"{customer}/{name}/job.json")) is not None]
    return [name for _, name in sorted(dated, reverse=True)]


def standing(customer: Path) -> list[str]:
    """Names of the revisions in `customer` that have a record, readable or not."""
    return [name for name in names(customer) if state_of(f"{customer}/{name}/job.json") is not None]


def names(customer: Path) -> list[str]:
    """Names of revisions' folders in `customer`; none where it is not there or somebody has closed it to us."""
    try:
        with os.scandir(customer) as entries:
            return [entry.name for entry in entries if job_and_number(entry.name)]
    except (FileNotFoundError, NotADirectoryError):
        return []
    except PermissionError:
        if durable_files.open_to_us(customer):
            raise
        return []


def state_of(path: str | Path) -> FileState | None:
    """What the disk says of a file, which is another when its content or who may read it is another; None where
    there is no such file, or somebody has closed its folder to us."""
    try:
        seen = os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except PermissionError:
        if durable_files.open_to_us(path):
            raise  # a whim of the disk
        return None
    return FileIdentity.of(seen), seen.st_ctime_ns


def _made(path: str) -> tuple[str, int] | None:
    try:
        state = state_of(path)
        return None if state is None else _read(path, state)
    except PermissionError:
        if durable_files.open_to_us(path):
            raise
        return None


@lru_cache(maxsize=_REMEMBERED)
def _read(path: str, state: FileState) -> tuple[str, int] | None:
    """ISO 8601 time and number of the record at `path`. When `state` is another, so is the question, and the file
    is read again."""
    try:
        told = json.loads(durable_files.read_plain(Path(path), RECORD_MOST_BYTES) or b"null")
        made_at, revision = told["made_at"], told["revision"]
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    return (made_at, revision) if isinstance(made_at, str) and isinstance(revision, int) else None
