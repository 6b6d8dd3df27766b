"""Whether the disk under the shop's folders is full or read-only, for those who do not write there themselves."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path

from keyturn.shop.reasons import ShopFault, shop_fault

LEAST_BYTES = 64 * 1024
"""With less than this free, status and board do not fit."""


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
