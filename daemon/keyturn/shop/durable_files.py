"""Writing that outlives a power cut, and copying that follows no link.

A file is durable once it is fsynced itself, its name once its folder is (POSIX fsync; Linux fsync(2)).
Every function raises OSError as the system gives it; what that means is the caller's to say.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path

HALF_WRITTEN = ".keyturn-????????????.tmp"
"""Pattern of the names under which `write_atomic` writes: what is left of them was cut off and counts for nothing."""

_CHUNK = 1 << 20
_READ = os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK  # a pipe in a drop must not hang us
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC


@contextlib.contextmanager
def _opened(path: Path, flags: int, mode: int = 0o666) -> Iterator[int]:
    descriptor = os.open(path, flags, mode)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def fsync_file(path: Path) -> None:
    with _opened(path, _READ) as descriptor:
        os.fsync(descriptor)


def fsync_dir(path: Path) -> None:
    """Makes the names in `path` durable. File systems that cannot sync a folder (some shares) are forgiven."""
    with _opened(path, _READ | os.O_DIRECTORY) as descriptor:
        try:
            os.fsync(descriptor)
        except OSError as error:
            if error.errno not in (errno.EINVAL, errno.ENOTSUP):
                raise


def fsync_tree(folder: Path) -> None:
    """Every file and folder in `folder`, then itself: what a name leads to is on disk before the name.

    `folder` may be a single file. Links, pipes and sockets hold no data and are left alone.
    """
    for path, seen in reversed(list(_walk(folder))):
        if stat.S_ISREG(seen.st_mode):
            fsync_file(path)
        elif stat.S_ISDIR(seen.st_mode):
            fsync_dir(path)


def _walk(top: Path) -> Iterator[tuple[Path, os.stat_result]]:
    """`top` and all below it, folders before what is in them, following no link."""
    pending = [top]
    while pending:
        path = pending.pop()
        seen = path.lstat()
        yield path, seen
        if stat.S_ISDIR(seen.st_mode):
            with os.scandir(path) as entries:
                pending += sorted((Path(entry.path) for entry in entries), reverse=True)


def write_atomic(path: Path, data: bytes) -> None:
    """Puts `data` at `path` so that a reader, or a power cut, finds the old bytes or the new ones, never a mixture."""
    beside = path.parent / f".keyturn-{secrets.token_hex(6)}.tmp"
    try:
        _write_new(beside, data)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    fsync_dir(path.parent)


def _write_new(path: Path, data: bytes) -> None:
    with _opened(path, _NEW) as descriptor:
        _write_all(descriptor, data)
        os.fsync(descriptor)


def _write_all(descriptor: int, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def copy_tree(source: Path, target: Path) -> None:
    """Copies a folder, or a single file, to `target`, which must not be there yet. Times are kept.

    A link is copied as the link it is, a pipe or socket as an empty one of its kind: nothing is read
    through them, and the copy is refused for the same reasons as the original would be.
    """
    for path, seen in _walk(source):
        copy = target / path.relative_to(source)
        _copy_one(path, copy, seen)
        if not stat.S_ISDIR(seen.st_mode):
            os.utime(copy, ns=(seen.st_atime_ns, seen.st_mtime_ns), follow_symlinks=False)


def _copy_one(path: Path, copy: Path, seen: os.stat_result) -> None:
    if stat.S_ISDIR(seen.st_mode):
        copy.mkdir()
    elif stat.S_ISLNK(seen.st_mode):
        copy.symlink_to(path.readlink())
    elif stat.S_ISREG(seen.st_mode):
        _copy_file(path, copy)
    else:
        os.mknod(copy, stat.S_IFMT(seen.st_mode) | 0o600)


def _copy_file(path: Path, copy: Path) -> None:
    with _opened(path, _READ) as reading, _opened(copy, _NEW) as writing:
        while chunk := os.read(reading, _CHUNK):
            _write_all(writing, chunk)


def open_to_us(path: str | Path) -> bool:
    """After a `PermissionError`: tells a whim of the disk, which will pass, from what somebody has closed to us, which
    only he can mend."""
    return os.access(path, os.R_OK)


def read_plain(path: Path, most: int) -> bytes | None:
    """The bytes of a plain file; None where there is none, or a link, a pipe or more than `most` bytes in its place."""
    try:
        with _opened(path, _READ) as descriptor:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                return None
            with os.fdopen(descriptor, "rb", closefd=False) as file:
                data = file.read(most + 1)
    except OSError as error:
        if error.errno in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.ENXIO):
            return None
        raise
    return data if len(data) <= most else None


def sha256(path: Path) -> str:
    """SHA-256 of a plain file's bytes as 64 hex digits; a link raises OSError (ELOOP)."""
    total = hashlib.sha256()
    with _opened(path, _READ) as descriptor:
        while chunk := os.read(descriptor, _CHUNK):
            total.update(chunk)
    return total.hexdigest()
