"""Move drops by one durable rename, and between mounts by a whole copy that is then renamed."""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from keyturn.inbox.survey import Snapshot, snapshot
from keyturn.shop import durable_files

LONGEST_NAME = 255
"""Longest file name in bytes: NAME_MAX of Linux's file systems (limits.h, path_resolution(7))."""

MOVING = ".keyturn-moving-"
"""Start of the name of an unfinished copy between two mounts, and of an original whose copy is whole. It is no drop."""

UNFINISHED = re.compile(rf"{re.escape(MOVING)}[0-9a-f]{{12}}")
"""The names of such copies."""


class Changed(Exception):  # noqa: N818 - news about a drop, not an error of ours
    """The drop changed after it was found whole."""


def readable(name: str) -> str:
    """Return the file name with each byte that is not UTF-8 (PEP 383's surrogates) as "_"."""
    return re.sub("[\ud800-\udfff]", "_", name)


def free_name(folder: Path, name: str) -> Path:
    """Return folder/name, or name-2, name-3 ... where that is taken. Cut a name that is too long for its number."""
    candidate, number = folder / name, 1
    while os.path.lexists(candidate):
        number += 1
        candidate = folder / f"{_cut(name, LONGEST_NAME - len(f'-{number}'))}-{number}"
    return candidate


def rename_folders(folder: Path, names: Iterable[str]) -> None:
    """Give each folder in `folder` that bears one of `names` a free name: files of ours are to have these."""
    for path in (folder / name for name in names):
        if path.is_dir() and not path.is_symlink():
            path.rename(free_name(folder, path.name))


def _cut(name: str, most: int) -> str:
    encoded = os.fsencode(name)
    return name if len(encoded) <= most else encoded[:most].decode("utf-8", "ignore")


def move(source: Path, target: Path) -> None:
    """Rename `source` to `target` durably; between mounts, copy it, rename the copy and remove the original.

    Raise FileExistsError where `target` is there already, and `Changed` where `source` changes during the copying.
    """
    if os.path.lexists(target):
        raise FileExistsError(errno.EEXIST, "already there", str(target))
    try:
        source.rename(target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        _move_between_mounts(source, target)
    durable_files.fsync_dir(target.parent)
    durable_files.fsync_dir(source.parent)


def _move_between_mounts(source: Path, target: Path) -> None:
    unfinished = target.parent / f"{MOVING}{secrets.token_hex(6)}"
    before = snapshot(source)
    size = sum(file.size for _, file in before)
    if size > shutil.disk_usage(target.parent).free:  # before hours of copying fill the disk for everybody
        raise OSError(errno.ENOSPC, f"{os.strerror(errno.ENOSPC)}: it takes {size / 2**20:,.0f} MiB", str(source))
    try:
        durable_files.copy_tree(source, unfinished)
        durable_files.fsync_tree(unfinished)
        if snapshot(source) != before:
            raise Changed(f"{source.name} changed while it was being copied")
        unfinished.rename(target)
    except BaseException:
        with suppress(OSError):  # recovery removes it too, but a full disk needs the space now
            remove(unfinished)
        raise
    durable_files.fsync_dir(target.parent)
    _remove_original(source)


def _remove_original(source: Path) -> None:
    """Remove what has a whole copy elsewhere. It loses its name first: where removing fails, it is no drop any more.

    The copy may go on meanwhile, and nothing would tell the original from a drop that is still to be made.
    """
    hidden = source.with_name(f"{MOVING}{secrets.token_hex(6)}")
    source.rename(hidden)
    remove(hidden)


def finish_move(source: Path, target: Path) -> bool:
    """Finish a move that was interrupted between mounts: remove what is left of `source`. Return whether it was safe.

    It is where `target` holds every file of `source` with the same name, size and time. Otherwise both stay.
    """
    if not os.path.lexists(target):
        return False
    if not _sizes_and_times(snapshot(source)) <= _sizes_and_times(snapshot(target)):
        return False
    _remove_original(source)
    return True


def remove(*paths: Path) -> None:
    """Remove files and whole folders; a link is removed, not what it leads to."""
    for path in paths:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def same_snapshot(a: Snapshot, b: Snapshot, *, inodes: bool) -> bool:
    """Are two snapshots equal? Pass `inodes=False` for a copy, whose inodes differ from the original's."""
    return a == b if inodes else _sizes_and_times(a) == _sizes_and_times(b)


def _sizes_and_times(entries: Snapshot) -> set[tuple[str, int, int]]:
    return {(name, file.size, file.mtime_ns) for name, file in entries}
