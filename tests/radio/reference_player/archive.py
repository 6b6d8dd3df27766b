"""A boot animation's parts and frames as each generation finds them in the zip."""

from __future__ import annotations

import re
from dataclasses import dataclass

from . import THIRD, pictures, rows, zip_bytes
from .pictures import Picture
from .rows import Row
from .zip_bytes import Entry

NO_FRAMES = (b"audio.wav", b"trim.txt")
"""Read for what they are from 10 on; before, each is a frame like any other file."""


@dataclass(frozen=True)
class Frame:
    name: str
    picture: Picture | None
    box: tuple[int, int, int, int] | None = None
    """Width, height, left and top from trim.txt; None: the animation's size."""


@dataclass(frozen=True)
class Part:
    row: Row
    frames: tuple[Frame, ...]


@dataclass(frozen=True)
class Animation:
    size: tuple[int, int, int] | None
    parts: tuple[Part, ...]


def read(data: bytes, generation: int) -> Animation | None:
    """Return the animation; None without a desc.txt at the root. Raise NotOpened where the zip is refused."""
    found = zip_bytes.entries(data, generation)
    desc = zip_bytes.entry_named(found, b"desc.txt")
    if desc is None:
        return None
    lines = rows.read(desc.data, generation)  # a deflated desc.txt is read as the compressed bytes
    return Animation(lines.size, tuple(_part(row, found, generation) for row in lines.rows))


def _part(row: Row, found: list[Entry], generation: int) -> Part:
    """Take the stored files of the row's folder in byte order; of two with one name the later stands."""
    files: dict[bytes, bytes] = {}
    for entry in found:
        folder, slash, leaf = entry.name.rpartition(b"/")
        if slash and leaf and folder == row.path and entry.stored:
            files[leaf] = entry.data
    boxes = []
    if generation >= THIRD:
        boxes = _boxes(files.get(b"trim.txt", b""))
        files = {name: data for name, data in files.items() if name not in NO_FRAMES}
    frames = [Frame(_text(name), pictures.read(data)) for name, data in sorted(files.items())]
    placed = [Frame(f.name, f.picture, box) for f, box in zip(frames, boxes, strict=False)]
    return Part(row, tuple(placed + frames[len(placed) :]))


def _boxes(trim: bytes) -> list[tuple[int, int, int, int]]:
    """Read trim.txt line by line, each ended by a newline, up to the first that is none."""
    *lines, _unterminated = trim.split(b"\0")[0].split(b"\n")
    boxes = []
    for line in lines:
        found = re.match(rb"\s*([+-]?\d+)x\s*([+-]?\d+)\+\s*([+-]?\d+)\+\s*([+-]?\d+)", line)
        if found is None:
            break
        width, height, left, top = (int(n) for n in found.groups())
        boxes.append((width, height, left, top))
    return boxes


def _text(name: bytes) -> str:
    return name.decode("utf-8", "surrogateescape")
