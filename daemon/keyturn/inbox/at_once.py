"""Tell drops that came in one piece from those that come file by file: they need not lie still for long."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from keyturn.inbox.zip_directory import GuardedFile, open_zip
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Caps


def came_whole(drop: Path) -> bool:
    """Tell whether the last thing that happened to a folder was a rename, or a program finishing its copy.

    A rename changes the folder's ctime and nothing else (common practice of Linux's file systems, no source). What is
    made or written inside changes its mtime, or a ctime inside, no earlier than that. Only the file system's own times
    are compared, so no clock that is set and no time that a copy keeps is mistaken for it.
    """
    try:
        top = os.lstat(drop)
        if top.st_ctime_ns <= top.st_mtime_ns:
            return False
        return all(os.lstat(path).st_ctime_ns < top.st_ctime_ns for path in _inside(drop))
    except OSError:
        return False


def _inside(drop: Path) -> Iterator[str]:
    return (f"{folder}/{name}" for folder, folders, files in os.walk(drop) for name in (*folders, *files))


def is_complete_zip(path: Path, caps: Caps) -> bool:
    """Tell whether the zip at `path` has its directory, which is written last (APPNOTE 4.3.6), and what it lists."""
    try:
        if not stat.S_ISREG(path.lstat().st_mode):  # opening a pipe never ends
            return False
        with path.open("rb", buffering=0) as raw, GuardedFile(raw, caps.files) as guarded:
            open_zip(guarded, path.name, caps)
    except (Refused, OSError):
        return False
    return True
