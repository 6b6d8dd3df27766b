"""Whether the disk under the shop's folders is full or read-only, for those who do not write there themselves."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from keyturn.shop.reasons import ShopFault, shop_fault

LEAST_BYTES = 64 * 1024
"""With less than this free, status and board do not fit."""


class DiskRoom(NamedTuple):
    """What a folder's disk takes yet: whether we may write there, bytes, and files (0 too where it sets no limit)."""

    writable: bool
    bytes: int
    files: int

    def is_more_than(self, before: DiskRoom) -> bool:
        """Tell whether somebody has mended the disk since.

        Twice the space counts: what drops in work take and give back is less where there is space, and where there is
        none any is more.
        """
        more_bytes = self.bytes >= 2 * max(before.bytes, LEAST_BYTES)
        more_files = self.files >= 2 * max(before.files, 1)
        return self.writable and (more_bytes or more_files or not before.writable)


def disk_room(folder: Path) -> DiskRoom | None:
    """Return what the disk of `folder` takes yet; None where the folder is not there or does not tell."""
    try:
        seen = os.statvfs(folder)
    except OSError:
        return None
    writable = os.access(folder, os.W_OK | os.X_OK)  # access(2): not where the disk is read-only
    return DiskRoom(writable, seen.f_bavail * seen.f_frsize, seen.f_favail)


def disk_fault(folders: Iterable[Path]) -> ShopFault | None:
    """Return what is wrong with the disk of one of `folders`; None where nothing is."""
    for folder in folders:
        number = write_error(folder)
        if number is not None and (fault := shop_fault(OSError(number, os.strerror(number), str(folder)))):
            return fault
    return None


def write_error(folder: Path) -> int | None:
    """Return the number of the error that writing in `folder` would meet; None where the disk takes it.

    File systems without a limit on files say that they have 0 of them (statvfs(3)).
    """
    try:
        seen = os.statvfs(folder)
    except OSError as error:
        return error.errno
    if seen.f_flag & os.ST_RDONLY:
        return errno.EROFS
    full = seen.f_bavail * seen.f_frsize < LEAST_BYTES or (seen.f_files > 0 and seen.f_favail == 0)
    return errno.ENOSPC if full else None
