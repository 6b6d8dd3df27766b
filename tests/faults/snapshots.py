"""A shop's folders as they are at one instant, in memory: taken, laid again, compared."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple


class Entry(NamedTuple):
    """A file, folder or link: its kind and rights, its bytes (of a link: where it leads), when it was changed."""

    mode: int
    data: bytes
    mtime_ns: int


Snapshot = dict[str, Entry]
"""By path below the shop's root, a folder before what is in it."""


def take(root: Path, known: dict[bytes, bytes] | None = None) -> Snapshot:
    """Everything below `root`, also on other mounts. `known` holds the bytes that several snapshots share."""
    shared: dict[bytes, bytes] = {} if known is None else known
    return dict(_below(str(root), "", shared))


def _below(root: str, inside: str, shared: dict[bytes, bytes]) -> Iterator[tuple[str, Entry]]:
    with os.scandir(f"{root}/{inside}") as entries:
        found = sorted(entries, key=lambda entry: entry.name)
    for entry in found:
        path, seen = inside + entry.name, entry.stat(follow_symlinks=False)
        data = b""
        if stat.S_ISREG(seen.st_mode):
            data = _bytes(entry.path, seen.st_size)
        elif stat.S_ISLNK(seen.st_mode):
            data = os.fsencode(os.readlink(entry.path))  # noqa: PTH115 - thousands of times
        yield path, Entry(seen.st_mode, shared.setdefault(data, data), seen.st_mtime_ns)
        if stat.S_ISDIR(seen.st_mode):
            yield from _below(root, f"{path}/", shared)


def _bytes(path: str, size: int) -> bytes:
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        return os.read(descriptor, size) if size else b""
    finally:
        os.close(descriptor)


def lay(snapshot: Snapshot, root: Path) -> None:
    """Make `root` what it was. Mounts in it stay, and their contents become what they were."""
    root.mkdir(parents=True, exist_ok=True)
    base = f"{root}/"
    _clear(base)
    folders = []
    for path, (mode, data, mtime_ns) in snapshot.items():
        place = base + path
        if stat.S_ISDIR(mode):
            if not os.path.isdir(place):  # noqa: PTH112 - thousands of times
                os.mkdir(place)  # noqa: PTH102
            folders.append((place, mode, mtime_ns))
        elif stat.S_ISLNK(mode):
            os.symlink(data, os.fsencode(place))  # noqa: PTH211
            os.utime(place, ns=(mtime_ns, mtime_ns), follow_symlinks=False)
        else:
            descriptor = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
            os.write(descriptor, data)
            os.fchmod(descriptor, stat.S_IMODE(mode))
            os.utime(descriptor, ns=(mtime_ns, mtime_ns))
            os.close(descriptor)
    for place, mode, mtime_ns in reversed(folders):
        os.chmod(place, stat.S_IMODE(mode))  # noqa: PTH101
        os.utime(place, ns=(mtime_ns, mtime_ns))


def _clear(folder: str) -> None:
    """Removes all but mounts: a folder that is kept would be listed in another order than a new one."""
    with os.scandir(folder) as entries:
        found = list(entries)
    for entry in found:
        if entry.is_dir(follow_symlinks=False):
            _clear(entry.path)
            if not os.path.ismount(entry.path):
                os.rmdir(entry.path)  # noqa: PTH106
        else:
            os.unlink(entry.path)  # noqa: PTH108


def digest(snapshot: Snapshot) -> str:
    """Of names, kinds, rights and bytes. The times of files are left out: see DEVELOPERS.md, "Testing"."""
    total = hashlib.sha256()
    for path, (mode, data, _) in snapshot.items():
        total.update(b"%s\0%o\0%d\0" % (os.fsencode(path), mode, len(data)))
        total.update(data)
    return total.hexdigest()


def difference(one: Snapshot, other: Snapshot) -> list[str]:
    """What is not the same in two snapshots, for people."""
    told = [f"only in the first: {path}" for path in one if path not in other]
    told += [f"only in the second: {path}" for path in other if path not in one]
    both = [path for path in one if path in other]
    return told + [f"not the same: {path}" for path in both if _plain(path, one[path]) != _plain(path, other[path])]


def _plain(path: str, entry: Entry) -> tuple[int, bytes]:
    """A write-ahead log holds a random salt (sqlite.org/walformat.html)."""
    return entry.mode, b"" if path.endswith(("-wal", "-shm")) else entry.data
