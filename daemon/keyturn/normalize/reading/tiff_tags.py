"""The whole-number tags of a TIFF's first page: TIFF and BigTIFF, in either byte order, without any decoder.

Sources: the TIFF 6.0 specification (1992), section 2; the BigTIFF proposal (libtiff's documentation), which widens
its offsets.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO

_KINDS = {1: "B", 3: "H", 4: "I", 6: "b", 7: "B", 8: "h", 9: "i", 13: "I", 16: "Q", 17: "q"}
"""Field types of whole numbers, and their `struct` letters. Tags of other types are passed over."""

_MOST_TAGS = 4096
_MOST_BYTES = 16 * 2**20
"""Limit of one tag; the longest in sound files is a colour profile."""


@dataclass(frozen=True, slots=True)
class _Shape:
    """How a directory is written. `count` and `offset` are `struct` letters.

    A value of up to `inline` bytes stands in the entry itself, in place of an offset.
    """

    order: str
    count: str
    offset: str
    inline: int


def first_page(file: BinaryIO) -> Mapping[int, tuple[int, ...]]:
    """Return the values of each tag of the first directory. Raise ValueError or struct.error where it is garbled."""
    file.seek(0)
    head = file.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None:
        raise ValueError("no TIFF")
    big = struct.unpack_from(f"{order}H", head, 2)[0] == 43
    shape = _Shape(order, "Q", "Q", 8) if big else _Shape(order, "H", "I", 4)
    (start,) = struct.unpack_from(order + shape.offset, head, 8 if big else 4)
    return _directory(file, start, shape)


def _directory(file: BinaryIO, start: int, shape: _Shape) -> Mapping[int, tuple[int, ...]]:
    file.seek(start)
    (length,) = struct.unpack(shape.order + shape.count, file.read(struct.calcsize(shape.order + shape.count)))
    entry = struct.Struct(f"{shape.order}HH{shape.offset}{shape.inline}s")
    if length > _MOST_TAGS:
        raise ValueError(f"{length} tags")
    rows = [entry.unpack(file.read(entry.size)) for _ in range(length)]
    return {tag: _values(file, kind, count, held, shape) for tag, kind, count, held in rows if kind in _KINDS}


def _values(file: BinaryIO, kind: int, count: int, held: bytes, shape: _Shape) -> tuple[int, ...]:
    size = struct.calcsize(_KINDS[kind]) * count
    if size > _MOST_BYTES:
        raise ValueError(f"a tag of {size} bytes")
    if size > shape.inline:
        file.seek(struct.unpack(shape.order + shape.offset, held)[0])
        held = file.read(size)
    return struct.unpack_from(f"{shape.order}{count}{_KINDS[kind]}", held)
