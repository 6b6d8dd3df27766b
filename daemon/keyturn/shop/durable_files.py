"""Writing that outlives a power cut, and copying that follows no link.

A file's bytes are durable once the file is fsynced, its name once its folder is fsynced (POSIX fsync; fsync(2)).
Every function raises OSError as the system gives it; the caller decides what that means.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path

from keyturn.shop import file_modes

HALF_WRITTEN = re.compile(r"\.keyturn-[0-9a-f]{12}\.tmp")
"""The temporary names of `write_atomic`. A file with such a name is the rest of a write that was cut off."""

_CHUNK = 1 << 20
_READ = os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK  # opening a pipe of a drop must not wait
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC


@contextlib.contextmanager
def _opened(path: Path, flags: int, mode: int = 0o666) -> Iterator[int]:
    descriptor = os.open(path, flags, mode)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def fsync_file(path: Path) -> None:
    """Make the bytes of the file at `path` durable."""
    with _opened(path, _READ) as descriptor:
        os.fsync(descriptor)


def fsync_dir(path: Path) -> None:
    """Make the names in the folder `path` durable, except where its file system cannot sync folders (some shares)."""
    with _opened(path, _READ | os.O_DIRECTORY) as descriptor:
        try:
            os.fsync(descriptor)
        except OSError as error:
            if error.errno not in (errno.EINVAL, errno.ENOTSUP):
                raise


def make_folders(*folders: Path) -> None:
    """Make each of the folders that is not there yet, the upper ones first, so that a power failure leaves it."""
    for folder in folders:
        if not folder.is_dir():
            folder.mkdir()
            fsync_dir(folder.parent)


def fsync_tree(folder: Path) -> None:
    """Fsync every file and folder in `folder`, then `folder` itself: contents are on disk before the names.

    `folder` may be a single file. Links, pipes and sockets hold no data and are left out.
    """
    for path, seen in reversed(list(_walk(folder))):
        if stat.S_ISREG(seen.st_mode):
            fsync_file(path)
        elif stat.S_ISDIR(seen.st_mode):
            fsync_dir(path)


def _walk(top: Path) -> Iterator[tuple[Path, os.stat_result]]:
    """Yield `top` and everything below it, a folder before its contents, following no link."""
    pending = [top]
    while pending:
        path = pending.pop()
        seen = path.lstat()
        yield path, seen
        if stat.S_ISDIR(seen.st_mode):
            with os.scandir(path) as entries:
                pending += sorted((Path(entry.path) for entry in entries), reverse=True)


def write_atomic(path: Path, data: bytes) -> None:
    """Write `data` to `path`. At any time, and after a power cut, `path` has either the old bytes or the new ones.

    The bytes go to a temporary file beside `path`, which is then renamed. A link at `path` is replaced, not followed.
    """
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
    """Copy a folder, or a single file, to `target` and keep the files' times, and who may read and write them.

    A link is copied as a link, a pipe or socket as an empty one of its kind: nothing is read through them, and the
    survey refuses the copy for the same reasons as the original. Raise FileExistsError where `target` is there.
    """
    for path, seen in _walk(source):
        copy = target / path.relative_to(source)
        _copy_one(path, copy, seen)
        if not stat.S_ISDIR(seen.st_mode):
            os.utime(copy, ns=(seen.st_atime_ns, seen.st_mtime_ns), follow_symlinks=False)


def _copy_one(path: Path, copy: Path, seen: os.stat_result) -> None:
    if stat.S_ISDIR(seen.st_mode):
        copy.mkdir()
        # Where the folder around hands its group on, so does the copy: the bit cannot be set later (see file_modes).
        hands_on = (seen.st_mode | copy.stat().st_mode) & stat.S_ISGID
        with contextlib.suppress(PermissionError):  # a file system that has no modes, such as FAT, refuses to set one
            file_modes.set_mode(copy, seen.st_mode & 0o777 | stat.S_IRWXU | hands_on)
    elif stat.S_ISLNK(seen.st_mode):
        copy.symlink_to(path.readlink())
    elif stat.S_ISREG(seen.st_mode):
        _copy_file(path, copy, seen.st_mode & 0o666 | stat.S_IRUSR | stat.S_IWUSR)
    else:
        os.mknod(copy, stat.S_IFMT(seen.st_mode) | 0o600)


def _copy_file(path: Path, copy: Path, mode: int) -> None:
    with _opened(path, _READ) as reading, _opened(copy, _NEW) as writing:
        with contextlib.suppress(PermissionError):
            os.fchmod(writing, mode)
        while chunk := os.read(reading, _CHUNK):
            _write_all(writing, chunk)


def may_read(path: str | Path) -> bool:
    """Tell, after a `PermissionError`, whether we may read `path`.

    If so, the error was a transient disk error and the work can be tried again. If not, somebody has taken our
    right to read, and only a person can give it back.
    """
    return os.access(path, os.R_OK)


def read_start(path: Path, most: int) -> bytes | None:
    """Return the first bytes of a plain file, at most `most`. Return None where it is missing or no plain file.

    A pipe is not waited for, and a link is not followed.
    """
    try:
        with _opened(path, _READ) as descriptor:
            seen = os.fstat(descriptor)
            if not stat.S_ISREG(seen.st_mode):
                return None
            with os.fdopen(descriptor, "rb", closefd=False) as file:
                # Python makes room for all that is asked for: for 512 MiB that takes three times as long as reading 1.
                start = file.read(min(most, seen.st_size + 1))
                return start if len(start) <= seen.st_size else start + file.read(most - len(start))
    except OSError as error:
        if error.errno in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.ENXIO):
            return None
        raise


def read_plain(path: Path, most: int) -> bytes | None:
    """Return the bytes of a plain file. Return None where it is missing, no plain file, or larger than `most` bytes."""
    data = read_start(path, most + 1)
    return data if data is not None and len(data) <= most else None


def sha256(path: Path) -> str:
    """Return the SHA-256 of a plain file's bytes as 64 hex digits. Raise OSError (ELOOP) where `path` is a link."""
    total = hashlib.sha256()
    with _opened(path, _READ) as descriptor:
        while chunk := os.read(descriptor, _CHUNK):
            total.update(chunk)
    return total.hexdigest()
