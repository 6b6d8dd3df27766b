"""Reading the records of revisions and of refused drops.

Outbox and rejects are open to the shop's people, so anything may lie there under a record's name. A record that cannot
be read is logged and left alone: one bad folder must not spoil the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import TypeVar, cast

from pydantic import ValidationError

from keyturn.inbox.survey import MENDED
from keyturn.outbox.customer_folder import RECORD_MOST_BYTES, FileState, file_state, revision_names
from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop import durable_files
from keyturn.shop.bounded_record import parsed
from keyturn.shop.records import JobRecord, PlayerRecord, ProofRecord, Record, Rejection

NO_PICTURES = ProofRecord.model_construct(radios=())  # no model is built for it (pydantic, defer_build)

_REMEMBERED = 60
"""So many records are kept in memory: a job.json and a proof.json for each of the 20 revisions on a sheet, and some."""

R = TypeVar("R", bound=Record)


def revisions(customer: Path) -> Iterator[tuple[str, int, Path]]:
    """Yield the job's folder name, the number and the path of every revision in a customer's folder, by name."""
    for name in sorted(revision_names(customer)):
        named = job_and_number(name)
        if named and _is_file(customer / name / "job.json"):
            yield *named, customer / name


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except PermissionError:
        if durable_files.may_read(path):
            raise
        return False


def read_job(folder: Path) -> JobRecord | None:
    """Return the record of the revision in `folder`; None where it cannot be read."""
    return readable_record(folder / "job.json", JobRecord)


def read_job_once(folder: Path) -> JobRecord | None:
    """Return what `read_job` returns; the same object as last time where the file has not changed."""
    return _once(folder / "job.json", JobRecord)


def read_proof(folder: Path) -> ProofRecord:
    """Return the pictures of the revision in `folder`; the same object as last time where the file has not changed.

    Return a proof without pictures where it cannot be read.
    """
    return _once(folder / "proof.json", ProofRecord) or NO_PICTURES


def read_player(folder: Path, most: float) -> PlayerRecord | None:
    """Return the large pictures of the revision in `folder`; None where they take more than `most` bytes.

    They are not kept in memory. Return None where they cannot be read.
    """
    return readable_record(folder / "player.json", PlayerRecord, int(most))


def read_rejection(folder: Path) -> Rejection | None:
    """Return the record of the refused drop in `folder`; None where it cannot be read."""
    return readable_record(folder / "REJECTED.json", Rejection)


def refused_before(drop: Path) -> str | None:
    """Return the claim under which a drop was refused before, from the record that came along in its folder."""
    before = read_rejection(drop) if drop.is_dir() else None
    return before.claim if before else None


def is_mended(folder: Path) -> bool:
    """Return whether a mended copy of the refused drop in `folder` was published."""
    return (folder / MENDED).is_file()


def readable_record(path: Path, model: type[R], most: int = RECORD_MOST_BYTES) -> R | None:
    """Return the record in `path`; None, with a line in the log, where it is spoilt or may not be read.

    Return None where the file is missing or larger than `most` bytes.
    """
    try:
        data = durable_files.read_plain(path, most)
        return None if data is None else parsed(data, model)
    except ValueError as error:
        _log_unreadable(path, error.errors()[0]["msg"] if isinstance(error, ValidationError) else error)
    except PermissionError as error:
        if durable_files.may_read(path):
            raise
        _log_unreadable(path, error.strerror)
    return None


def _log_unreadable(path: Path, why: object) -> None:
    from loguru import logger  # seldom wanted, and `keyturn status` need not wait for it

    logger.warning("{} is not readable and is left alone: {}", path, why)


def _once(path: Path, model: type[R]) -> R | None:
    state = file_state(path)
    return None if state is None else cast("R | None", _remembered(path, model, state))


@lru_cache(maxsize=_REMEMBERED)
def _remembered(path: Path, model: type[Record], state: FileState) -> Record | None:
    return readable_record(path, model)
