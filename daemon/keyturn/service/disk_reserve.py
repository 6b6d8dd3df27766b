"""Some of the disk is kept back, so that status and board can still be written when it is full."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

RESERVE_BYTES = 512 * 1024
"""The board of a shop with 200 jobs has about 100 KiB, and old and new lie side by side while it is written."""


class DiskReserve:
    """A file that takes room and holds nothing."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def lay_down(self) -> None:
        """Take the room, where it is not taken already. Leave that for later where the disk has none or gives none."""
        with suppress(OSError):
            if self._path.is_file():
                return
            try:
                with self._path.open("wb") as file:
                    os.posix_fallocate(file.fileno(), 0, RESERVE_BYTES)
            except OSError:
                self._path.unlink(missing_ok=True)

    def give_up(self) -> bool:
        """Give the room back. Return whether there was any to give."""
        with suppress(OSError):
            self._path.unlink()
            return True
        return False
