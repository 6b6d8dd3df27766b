"""Pictures that a program exported at several sizes at once: frame.png, frame@2x.png, frame@3x.png. Pure: no disk."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from pathlib import PurePosixPath

_MARK = re.compile(r"@([1-9])x$", re.IGNORECASE)
"""Common practice of drawing programs, no source."""


def unscaled(name: str) -> str:
    """Return the file's path without the mark of its size."""
    path = PurePosixPath(name)
    return str(path.with_name(_MARK.sub("", path.stem) + path.suffix))


def largest(names: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return the names, of each picture's sizes the largest alone, and the names that are left out."""
    sizes: dict[str, list[str]] = defaultdict(list)
    for name in names:
        sizes[unscaled(name).lower()].append(name)
    kept = {max(alike, key=_times) for alike in sizes.values()}
    return [name for name in names if name in kept], [name for name in names if name not in kept]


def _times(name: str) -> int:
    mark = _MARK.search(PurePosixPath(name).stem)
    return int(mark[1]) if mark else 1
