"""Moving drops: one durable rename, and between mounts a whole copy that appears by one rename."""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
from contextlib import suppress
from pathlib import Path

from keyturn.inbox.survey import Seen, snapshot
from keyturn.shop import durable_files

LONGEST_NAME = 255
"""Bytes: NAME_MAX of Linux's file systems (limits.h, path_resolution(7))."""

MOVING = ".keyturn-moving-"
"""A copy on its way between two mounts. It counts for nothing until it is renamed."""


class Changed(Exception):  # noqa: N818 - news about a drop, not an error of ours
    """The drop changed after it was thought whole."""


def readable(name: str) -> str:
    """A file name as text that can be written down: bytes that are not UTF-8 (PEP 383's surrogates) become "_"."""
    return re.sub("[\ud800-\udfff]", "_", name)


def free_name(folder: Path, name: str) -> Path:
    """folder/<name>, or <name>-2, -3 ... where that is taken; a name too long for its number loses its end."""
    candidate, number = folder / name, 1
    while os.path.lexists(candidate):
        number += 1
        candidate = folder / f"{_cut(name, LONGEST_NAME - len(f'-{number}'))}-{number}"
    return candidate


def _cut(name: str, most: int) -> str:
    encoded = os.fsencode(name)
    return name if len(encoded) <= most else encoded[:most].decode("utf-8", "ignore")


def move(source: Path, target: Path) -> None:
    """One durable rename; between mounts a fsynced copy that appears by one rename, then the original goes."""
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
    halfway = target.parent / f"{MOVING}{secrets.token_hex(6)}"
    before = snapshot(source)
    try:
        durable_files.copy_tree(source, halfway)
        durable_files.fsync_tree(halfway)
        if snapshot(source) != before:
            raise Changed(f"{source.name} changed while it was being copied")
        halfway.rename(target)
    except BaseException:
        with suppress(OSError):  # recovery will; but a full disk wants its space back now
            remove(halfway)
        raise
    durable_files.fsync_dir(target.parent)
    remove(source)


def already_moved(source: Path, target: Path) -> bool:
    """Is all that is left of `source` also in `target`? Then the rest of `source` is removed.

    Names, sizes and times must agree: where there is any doubt, both stay.
    """
    if not os.path.lexists(target):
        return False
    if not _sizes_and_times(snapshot(source)) <= _sizes_and_times(snapshot(target)):
        return False
    remove(source)
    return True


def remove(*paths: Path) -> None:
    for path in paths:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def same(a: frozenset[Seen], b: frozenset[Seen], *, inodes: bool) -> bool:
    """Two snapshots agree; a copy has other inodes than its original."""
    return a == b if inodes else _sizes_and_times(a) == _sizes_and_times(b)


def _sizes_and_times(seen: frozenset[Seen]) -> set[tuple[str, int, int]]:
    return {(name, file.size, file.mtime_ns) for name, file in seen}
