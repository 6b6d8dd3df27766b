"""What the player must know of a picture: its size, whether it is opaque, whether it has 16 bits a channel."""

from __future__ import annotations

import struct
from dataclasses import dataclass


@dataclass(frozen=True)
class Picture:
    width: int
    height: int
    opaque: bool = True
    sixteen_bit: bool = False


def read(data: bytes) -> Picture | None:
    """Return the picture that the bytes begin; None for a file that is no picture."""
    if data[:8] == b"\x89PNG\r\n\x1a\n" and data[12:16] == b"IHDR" and len(data) >= 33:
        return _png(data)
    if data[:3] == b"\xff\xd8\xff":
        return _jpeg(data)
    return None


def _png(data: bytes) -> Picture:
    """PNG, third edition, 11.2.1 (IHDR) and 11.3.1.1 (tRNS)."""
    width, height, bits, colour = struct.unpack_from(">IIBB", data, 16)
    at, see_through = 8, bool(colour & 4)
    while at + 8 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        if kind == b"IDAT":
            break
        see_through |= kind == b"tRNS"
        at += 12 + length
    return Picture(width, height, not see_through, bits == 16)


def _jpeg(data: bytes) -> Picture | None:
    """ITU-T T.81, B.2.2: the first frame header has the size."""
    at = 2
    while at + 9 <= len(data):
        marker, length = struct.unpack_from(">HH", data, at)
        if 0xFFC0 <= marker <= 0xFFCF and marker not in (0xFFC4, 0xFFC8, 0xFFCC):
            height, width = struct.unpack_from(">HH", data, at + 5)
            return Picture(width, height)
        at += 2 + length
    return None
