"""Tell which of a drop's files another process on this machine still has open for writing.

The system grants a read lease on a file only while nobody has it open for writing (fcntl(2), F_SETLEASE). It grants
one to the file's owner and to a process with CAP_LEASE. A lease is given back at once: while it is held, whoever opens
the file for writing waits.
"""

from __future__ import annotations

import errno
import fcntl
import os
import signal
import stat
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path

from keyturn.inbox.survey import Snapshot, snapshot

_NO_FILE = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.ENXIO, errno.ENODEV})
"""Errors of open(2) that say that no plain file is there any more. Any other one says nothing about writers."""


class Writers(StrEnum):
    """Whether somebody has a file open for writing. `UNSEEN`: the system does not tell this process."""

    NONE = "none"
    SOME = "some"
    UNSEEN = "unseen"


def writers_of(path: str | Path) -> Writers:
    """Return whether the file at `path` is open for writing. One that is gone, or no plain file, is not."""
    try:
        if not stat.S_ISREG(os.lstat(path).st_mode):  # opening a pipe would disturb whoever waits at its other end
            return Writers.NONE
        file = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC)
    except BlockingIOError:  # a writer holds a lease of its own on it (open(2), EWOULDBLOCK)
        return Writers.SOME
    except OSError as error:
        return Writers.NONE if error.errno in _NO_FILE else Writers.UNSEEN
    try:
        return _asked(file)
    finally:
        os.close(file)


def _asked(file: int) -> Writers:
    try:
        # Whoever opens the file now has a signal sent to us: SIGIO, which ends a process, unless SIGURG is asked for,
        # which does nothing (fcntl(2), signal(7)).
        fcntl.fcntl(file, fcntl.F_SETSIG, signal.SIGURG)
        fcntl.fcntl(file, fcntl.F_SETLEASE, fcntl.F_RDLCK)
        fcntl.fcntl(file, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    except BlockingIOError:
        return Writers.SOME
    except OSError:  # another user's file, a file system without leases, or a fault for a moment (fcntl(2))
        return Writers.UNSEEN
    return Writers.NONE


def first_open(drop: Path, names: Iterable[str]) -> tuple[Writers, str]:
    """Return whether any of the files `names` in `drop` is open for writing, and the first that is.

    "" names the drop itself, where it is one file. `UNSEEN` where none is known to be open and some cannot be asked
    about. Names that end in "/" are folders, and are passed over.
    """
    unseen = False
    for name in names:
        if name.endswith("/"):
            continue
        found = writers_of(f"{drop}/{name}" if name else drop)
        if found is Writers.SOME:
            return found, name
        unseen = unseen or found is Writers.UNSEEN
    return (Writers.UNSEEN if unseen else Writers.NONE), ""


def open_in(drop: Path, seen: Snapshot) -> tuple[Writers, str]:
    """Return what `first_open` says of the files of a snapshot. The one written last is asked about first."""
    newest_first = sorted(seen, key=lambda entry: (-entry[1].mtime_ns, entry[0]))
    return first_open(drop, (name for name, _ in newest_first))


def is_open(drop: Path) -> bool:
    """Tell whether any file of the drop is known to be open for writing."""
    return open_in(drop, snapshot(drop))[0] is Writers.SOME


def leases_work(folder: Path) -> bool:
    """Tell whether leases show writers on the file system of `folder`, for files of our own. Nothing is left there."""
    try:
        written = os.open(folder, os.O_TMPFILE | os.O_RDWR | os.O_CLOEXEC, 0o600)
    except OSError:
        return False
    try:
        read = os.open(f"/proc/self/fd/{written}", os.O_RDONLY | os.O_CLOEXEC)
        try:
            return _asked(read) is Writers.SOME
        finally:
            os.close(read)
    except OSError:
        return False
    finally:
        os.close(written)
