"""Listing a folder so that one that cannot be read is not taken for an empty one."""

from __future__ import annotations

from fnmatch import fnmatchcase
from pathlib import Path


def listed(folder: Path, pattern: str) -> list[Path]:
    """Return the entries of `folder` whose names match the shell's `pattern`, sorted; none where there is no folder.

    Raise OSError where it cannot be listed. `Path.glob` leaves it out then, as if there were nothing in it.
    """
    try:
        return sorted(path for path in folder.iterdir() if fnmatchcase(path.name, pattern))
    except FileNotFoundError:
        return []
