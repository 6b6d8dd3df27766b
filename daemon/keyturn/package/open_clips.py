"""Clips that this worker has open. Frames come in order, so a worker decodes a clip once, not once a frame."""

from __future__ import annotations

import atexit
from collections import OrderedDict
from pathlib import Path

from keyturn.normalize.reading.clips import Clip
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.rulebook import Intake

_OPEN: OrderedDict[tuple[Path, FileIdentity], Clip] = OrderedDict()

MOST_OPEN = 2
"""One that plays, and one that it dissolves into."""


def clip(path: Path, intake: Intake, *, name: str) -> Clip:
    """Return the clip, opened again where the file has changed.

    Raise `Refused` where it cannot be read, OSError where the shop's disk fails.
    """
    key = (path, FileIdentity.of(path.stat()))
    found = _OPEN.pop(key, None) or Clip(path, intake, name=name)
    _OPEN[key] = found
    while len(_OPEN) > MOST_OPEN:
        _OPEN.popitem(last=False)[1].close()
    return found


def _close_all() -> None:
    """Close what is open where frames were made without workers; a worker's end closes everything by itself."""
    while _OPEN:
        _OPEN.popitem()[1].close()


atexit.register(_close_all)
