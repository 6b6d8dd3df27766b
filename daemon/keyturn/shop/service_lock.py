"""The lock by which one service runs on a shop, and the process that holds it.

The system lets go of the lock when the process ends, however it ends (flock(2)).
"""

from __future__ import annotations

import errno
import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

LOCK_TRIES, LOCK_NAP_S = 20, 0.05
"""`is_held` holds the lock for an instant. A service that starts just then tries again."""

LOCKS_OF_THE_SYSTEM = Path("/proc/locks")


@contextmanager
def hold(lock: Path) -> Iterator[bool]:
    """Hold the lock and yield True; yield False where another process holds it.

    The file then names this process, as far as the disk takes it: the lock counts on a full or read-only disk too.
    """
    descriptor = _opened(lock)
    try:
        locked = _locked(descriptor)
        if locked:
            with suppress(OSError):
                _name_this_process(descriptor)
        yield locked
    finally:
        os.close(descriptor)


def is_held(lock: Path) -> bool:
    """Tell whether a process holds the lock. Raise OSError where the file cannot be read."""
    try:
        with lock.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except FileNotFoundError:
        return False
    return False


def holder(lock: Path) -> int | None:
    """Return the process that holds the lock; None where that is not known.

    The system's own list comes first: a process on a full disk cannot name itself in the file. The list lacks locks on
    some file systems (their device number there is not that of stat(2)).
    """
    try:
        return _listed(lock) or _named(lock)
    except OSError:
        return None


def may_be_held_by(lock: Path, pid: int | None) -> bool:
    """Tell whether the process that calls itself `pid` may be the one that holds the lock; False where it is another.

    A service in a container knows itself by another number than the system's list gives.
    """
    try:
        listed = _listed(lock)
        known = {_named(lock)} - {None} if listed is None else {listed, *_own_numbers(listed)}
    except OSError:
        return True
    return not known or pid in known


def _opened(lock: Path) -> int:
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
    except OSError as error:
        if error.errno == errno.EROFS:
            with suppress(FileNotFoundError):
                return os.open(lock, os.O_RDONLY | os.O_CLOEXEC)
        raise


def _locked(descriptor: int) -> bool:
    for _ in range(LOCK_TRIES):
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            time.sleep(LOCK_NAP_S)
        else:
            return True
    return False


def _name_this_process(descriptor: int) -> None:
    """Write over the old name before it is cut: a full disk has room for that."""
    name = f"{os.getpid()}\n".encode()
    os.pwrite(descriptor, name, 0)
    os.ftruncate(descriptor, len(name))


def _listed(lock: Path) -> int | None:
    """Return the holder by the system's list. A line is number, FLOCK, ADVISORY, mode, process, device and inode, and
    has -> after the number where the process only waits (proc_locks(5))."""
    seen = lock.stat()
    place = f"{os.major(seen.st_dev):02x}:{os.minor(seen.st_dev):02x}:{seen.st_ino}"
    with suppress(OSError):
        for line in LOCKS_OF_THE_SYSTEM.read_text().splitlines():
            fields = line.split()
            if fields[1:4] == ["FLOCK", "ADVISORY", "WRITE"] and fields[5] == place and int(fields[4]) > 0:
                return int(fields[4])
    return None


def _own_numbers(pid: int) -> list[int]:
    """Return the numbers that a process has in the containers it runs in (proc_pid_status(5), NSpid)."""
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("NSpid:"):
                return [int(number) for number in line.split()[1:]]
    return []


def _named(lock: Path) -> int | None:
    name = lock.read_bytes()[:20].strip()
    return int(name) if name.isdigit() else None
