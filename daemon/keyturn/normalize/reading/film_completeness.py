"""Whether a film's file is complete, by its outermost boxes, before anything is decoded.

Sources: ISO/IEC 14496-12, 4.2 (boxes of MP4, and of MOV, which they come from); RFC 8794 (EBML, of WebM).
"""

from __future__ import annotations

import io
import struct
from typing import BinaryIO

from keyturn.normalize.reading.picture_faults import Broken

_MOST = 10_000
"""Boxes that are looked at."""

_SEGMENT = 0x18538067


def check(file: BinaryIO, kind: str) -> None:
    """Raise `Broken` where the file ends before its boxes do, or has no index or no film in it."""
    end = file.seek(0, io.SEEK_END)
    if kind == "WEBM":
        _ebml(file, end)
    else:
        _boxes(file, end)


def _boxes(file: BinaryIO, end: int) -> None:
    at, seen = 0, set()
    for _ in range(_MOST):
        if at + 8 > end:
            break
        file.seek(at)
        size, name = struct.unpack(">I4s", file.read(8))
        if size == 1:
            size = int.from_bytes(file.read(8), "big")
        size = size or end - at  # 0 stands for: up to the end of the file
        if size < 8:
            raise Broken("has a damaged index")
        seen.add(name)
        at += size
        if at > end:
            raise Broken("breaks off")
    if b"moov" not in seen:
        raise Broken("has no index: it was cut short, or never finished")


def _ebml(file: BinaryIO, end: int) -> None:
    at = 0
    for _ in range(_MOST):
        file.seek(at)
        head = file.read(12)
        name_long = _length(head)
        size_long = _length(head[name_long:])
        if not name_long or not size_long or len(head) < name_long + size_long:
            raise Broken("breaks off")
        unknown = (1 << 7 * size_long) - 1
        size = int.from_bytes(head[name_long : name_long + size_long], "big") & unknown
        at += name_long + size_long + size
        if int.from_bytes(head[:name_long], "big") == _SEGMENT:
            if size != unknown and at > end:  # a film written while it was recorded does not state its size
                raise Broken("breaks off")
            return
    raise Broken("has no film in it")


def _length(data: bytes) -> int:
    """Return the bytes of an EBML number: the zeros before its first one, plus one (RFC 8794, 4.4); 0 without one."""
    return 9 - data[0].bit_length() if data and data[0] else 0
