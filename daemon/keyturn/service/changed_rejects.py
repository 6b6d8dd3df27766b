"""A refused drop whose file at fault has changed since: its page and the board say so, and how it goes again.

Nothing is moved: somebody may still be mending it.
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from loguru import logger

from keyturn.outbox import record_files
from keyturn.pages.rejects import rejected_pages
from keyturn.shop import durable_files
from keyturn.shop.file_modes import open_to_group
from keyturn.shop.papers import Letterhead
from keyturn.shop.reasons import Kind, Reason
from keyturn.shop.records import Rejection

LATER_NS = 2_000_000_000
"""Refusing a drop takes a moment, in which the modes of its files are set: a change is later by so much."""

_NOT_OURS = (PermissionError, FileNotFoundError, NotADirectoryError, IsADirectoryError)


def note_changes(folder: Path, reasons: Sequence[Reason], letterhead: Letterhead | None = None) -> Rejection | None:
    """Return the record of a folder of rejects anew, and write it and its pages, where a file at fault has changed
    since they were written; else None. `reasons` are those of the record.

    The folder is open to people: where it takes no file, it stays as it is.
    """
    changed = _changed(folder, reasons)
    before = record_files.read_rejection(folder) if changed else None
    if before is None:
        return None
    again = f"it has changed since: when the drop is whole, keyturn retry {shlex.quote(folder.name)}, or drag it back"
    now = tuple(_with_mend(reason, again) if reason.file in changed else reason for reason in before.reasons)
    rejection = before.model_copy(update={"reasons": now})
    pages = {**rejected_pages(rejection, letterhead), "REJECTED.json": rejection.model_dump_json(indent=2)}
    try:
        for name, text in pages.items():
            durable_files.write_atomic(folder / name, text.encode("utf-8"))
            open_to_group(folder / name)
    except _NOT_OURS as error:
        logger.warning("rejects/{} has changed and cannot be marked so: {}", folder.name, error.strerror)
        return None
    return rejection


def _with_mend(reason: Reason, mend: str) -> Reason:
    return reason.model_copy(update={"mend": mend}) if reason.kind is Kind.REFUSE else reason


def _changed(folder: Path, reasons: Sequence[Reason]) -> set[str]:
    """Return the files at fault whose ctime is later than the record. No copy can set a ctime (inode(7))."""
    try:
        written = (folder / "REJECTED.json").lstat().st_mtime_ns
    except OSError:
        return set()
    names = {reason.file for reason in reasons if reason.kind is Kind.REFUSE and reason.file}
    return {name for name in names if _changed_at(folder / name) > written + LATER_NS}


def _changed_at(path: Path) -> int:
    try:
        return path.lstat().st_ctime_ns
    except OSError:
        return 0
