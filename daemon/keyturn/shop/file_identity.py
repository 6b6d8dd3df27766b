"""How a file is told from a later one of the same name."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple


class FileIdentity(NamedTuple):
    """Size in bytes, time of the last writing in nanoseconds, inode and device, as stat(2) gives them.

    Two looks at one path that give equal identities saw the same file with the same content. One change goes
    unnoticed: bytes written in place, of the same size, with the time set back. Only the ctime tells that.

    A named tuple, because a snapshot of a drop holds thousands of them: it is made and hashed in about half of
    the time of a frozen dataclass.
    """

    size: int
    mtime_ns: int
    inode: int
    device: int

    @classmethod
    def of(cls, seen: os.stat_result) -> FileIdentity:
        """Return the identity of the file that `seen` describes."""
        return cls(seen.st_size, seen.st_mtime_ns, seen.st_ino, seen.st_dev)


def identity(path: str | Path, *, follow_links: bool = True) -> FileIdentity | None:
    """Return the identity of the file at `path`, or None where there is none.

    Raise OSError where the system does not say, for example because a folder is closed to us.
    """
    try:
        return FileIdentity.of(Path(path).stat(follow_symlinks=follow_links))
    except (FileNotFoundError, NotADirectoryError):
        return None
