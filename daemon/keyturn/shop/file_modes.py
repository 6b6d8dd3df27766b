"""Who may read and write what: the modes of the shop's folders, and of what the service leaves in them.

Modes do not depend on the umask under which the service was started. The set-gid bit hands the shop's group on to
whatever is put inside; the sticky bit lets people remove what is their own and nothing else (inode(7)).

The unit's RestrictSUIDSGID= refuses every mode with the set-gid bit. A folder that is made in a set-gid folder has the
bit from it (mkdir(2)), and `set_mode` keeps it there. The shop's own folders are made outside of the unit.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from keyturn.shop import access_lists

CLOSED_DIR = 0o750
"""The group reads; nothing is for it to take away. So is the shop's own folder: only the group comes in at all."""

SHARED_DIR = 0o2770
"""Artists put drops in, mend them and take them back."""

OUTBOX_DIR = 0o3770
"""The group may put files in. What the service put in, it may not rename or remove."""

KEPT_DIR = 0o2750
"""What the service makes for the group to read and to copy; the service alone writes."""

BUILDING_DIR = 0o2700
"""What is not whole yet is nobody's to see."""

WORK_DIR = 0o2750
"""The service alone writes. A drop's folder that is made here and goes to rejects takes the group along."""

KEPT_FILE = 0o640
_GROUP_MAY_WRITE = 0o060
_OPEN = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC


@contextmanager
def group_reads() -> Iterator[None]:
    """Within this, what the process makes is the group's to read, its own to write, and closed to others."""
    before = os.umask(0o027)
    try:
        yield
    finally:
        os.umask(before)


def make_folder(folder: Path, mode: int) -> None:
    """Make `folder`, with the folders above it, and give it `mode`. Leave a folder that is there as it is."""
    if not folder.is_dir():
        folder.mkdir(parents=True)
        folder.chmod(mode)


def set_mode(place: int | Path, mode: int) -> None:
    """Give the folder or file `place`, an open descriptor or a path, its mode.

    Where the set-gid bit may not be set, it stays where it is. It gives way to the rights where the file system has no
    access lists. Raise PermissionError where `place` is not ours, or its file system has no modes (FAT).
    """
    seen = os.stat(place).st_mode  # noqa: PTH116 - a Path takes no descriptor
    if stat.S_IMODE(seen) == mode:
        return
    try:
        os.chmod(place, mode)  # noqa: PTH101
    except PermissionError:
        if not mode & stat.S_ISGID:
            raise
        if not (seen & stat.S_ISGID and _set_permissions(place, mode & 0o777)):
            os.chmod(place, mode & ~stat.S_ISGID)  # noqa: PTH101


def _set_permissions(place: int | Path, permissions: int) -> bool:
    """Set the permission bits and no others. Return whether the file system can."""
    try:
        access_lists.set_permissions(place, permissions)
    except OSError as error:
        if error.errno != errno.ENOTSUP:
            raise
        return False
    return True


def keep_mode(folder: Path, mode: int) -> None:
    """Give `folder` back its mode, where it is ours: an earlier Keyturn may have made it with another."""
    if folder.stat().st_uid == os.geteuid():
        _change(folder, mode)


def close_to_group(tree: Path) -> None:
    """Make the folder `tree`, and all in it that is ours, readable for the group and writable for us alone."""
    for descriptor, seen in _own_entries(tree):
        _change(descriptor, KEPT_DIR if stat.S_ISDIR(seen.st_mode) else KEPT_FILE)


def open_to_group(tree: Path) -> None:
    """Let the group write in the folder or file `tree`, and change all of our own in it."""
    for descriptor, seen in _own_entries(tree):
        more = SHARED_DIR if stat.S_ISDIR(seen.st_mode) else _GROUP_MAY_WRITE
        if seen.st_mode & more != more:
            _change(descriptor, stat.S_IMODE(seen.st_mode) | more)
            os.fsync(descriptor)


def _change(place: int | Path, mode: int) -> None:
    with suppress(PermissionError):  # a file system that has no modes, such as FAT, refuses to set one
        set_mode(place, mode)


def _own_entries(tree: Path) -> Iterator[tuple[int, os.stat_result]]:
    """Yield `tree` and each folder and file in it that is ours: an open descriptor, and its status.

    Folders of others are not entered. Other people may change `tree` meanwhile, to lead us to files outside it. So no
    link is followed at any step of a path, and a file that has a second name, perhaps outside, is left out.
    """
    pending: list[tuple[str, ...]] = [()]
    while pending:
        steps = pending.pop()
        with _opened(tree, steps) as descriptor:
            if descriptor is None:
                continue
            seen = os.fstat(descriptor)
            ours = seen.st_uid == os.geteuid()
            if stat.S_ISDIR(seen.st_mode):
                if ours or not steps:
                    pending += [(*steps, name) for name in _listed(descriptor)]
            else:
                ours = ours and stat.S_ISREG(seen.st_mode) and seen.st_nlink == 1
            if ours:
                yield descriptor, seen


@contextmanager
def _opened(tree: Path, steps: tuple[str, ...]) -> Iterator[int | None]:
    """Open what `steps` lead to from `tree`, one after the other; None where that has gone, is a link or is closed."""
    path: tuple[str | Path, ...] = (tree, *steps)
    descriptor = None
    try:
        for step in path:
            above, descriptor = descriptor, _open(step, descriptor)
            if above is not None:
                os.close(above)
            if descriptor is None:
                break
        yield descriptor
    finally:
        if descriptor is not None:
            os.close(descriptor)


def _open(name: str | Path, folder: int | None) -> int | None:
    try:
        return os.open(name, _OPEN, dir_fd=folder)
    except OSError as error:
        if error.errno in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.ENXIO, errno.EACCES):
            return None
        raise


def _listed(folder: int) -> list[str]:
    with os.scandir(folder) as entries:
        return [entry.name for entry in entries]
