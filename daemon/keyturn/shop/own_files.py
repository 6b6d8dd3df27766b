"""What the service may use and remove in folders that other people may write into as well.

A link, and what belongs to somebody else, is left alone. A folder is opened once, no link in its place is followed, and
what lies in it is then named by that descriptor: nobody can put something else there between the look and the act
(open(2), O_NOFOLLOW; openat(2)).
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC


def is_own_folder(path: Path) -> bool:
    """Is there a folder at `path`, no link, that belongs to us, or to whom the folder around it belongs?

    A network share may give everything to one user, who is not the one we run as.
    """
    try:
        seen = path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return stat.S_ISDIR(seen.st_mode) and seen.st_uid in (os.geteuid(), path.parent.stat().st_uid)


def make_own_folder(folder: Path, mode: int = 0o777) -> None:
    """Make `folder` with `mode`, less the umask. A link in its place, or somebody else's folder, is set aside."""
    if os.path.lexists(folder) and not is_own_folder(folder):
        from loguru import logger  # seldom wanted, and `keyturn status` need not wait for it

        aside = folder.with_name(f".not-keyturns-{secrets.token_hex(6)}")
        folder.rename(aside)
        logger.warning("{} was not Keyturn's own folder; it is now {}", folder, aside.name)
    folder.mkdir(mode, exist_ok=True)


def is_plain_folder(path: Path) -> bool:
    """Is there a folder at `path`, and no link to one?"""
    return path.is_dir() and not path.is_symlink()


def remove_left_over(folder: Path, name: re.Pattern[str], *, of_anyone: bool = False) -> None:
    """Remove the entries of `folder` whose whole name fits and that are ours, folders with all that is in them.

    `of_anyone`: remove those of other people too. A link is removed, never what it leads to. Where `folder` is a link,
    or is not there, nothing is removed. An entry that cannot be removed does not keep the others: its error is raised
    at the end.
    """
    faults: list[OSError] = []
    with _opened(folder) as descriptor:
        if descriptor is None:
            return
        ours = (os.geteuid(), os.fstat(descriptor).st_uid)
        with os.scandir(descriptor) as entries:
            fitting = [entry.name for entry in entries if name.fullmatch(entry.name)]
        for entry in fitting:
            try:
                seen = os.stat(entry, dir_fd=descriptor, follow_symlinks=False)
                if of_anyone or seen.st_uid in ours:
                    _remove(entry, descriptor, seen)
            except FileNotFoundError:
                continue
            except OSError as error:
                faults.append(error)
    if faults:
        raise faults[0]


@contextmanager
def _opened(folder: Path) -> Iterator[int | None]:
    try:
        descriptor = os.open(folder, _FOLDER)
    except OSError as error:
        if error.errno not in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP):
            raise
        yield None
        return
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def _remove(entry: str, folder: int, seen: os.stat_result) -> None:
    if stat.S_ISDIR(seen.st_mode):
        shutil.rmtree(entry, dir_fd=folder)
    else:
        os.unlink(entry, dir_fd=folder)
