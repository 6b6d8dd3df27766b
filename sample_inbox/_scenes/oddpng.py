"""PNGs that Pillow does not write: interlaced ones, and colour with 16 bits a channel.

W3C Portable Network Graphics, third edition: chunk layout 5.3, IHDR 11.2.1, interlace 8.1.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

_COLOUR_TYPE = {1: 0, 2: 4, 3: 2, 4: 6}
_ADAM7 = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))
"""First column, first row, step to the right, step down of each pass."""


def write(path: Path, pixels: Pixels, *, interlaced: bool = False) -> None:
    """`pixels` is (height, width, channels) of uint8 or uint16; the channels are grey, grey+A, RGB or RGBA."""
    height, width, channels = pixels.shape
    header = struct.pack(
        ">IIBBBBB", width, height, pixels.dtype.itemsize * 8, _COLOUR_TYPE[channels], 0, 0, int(interlaced)
    )
    passes = _ADAM7 if interlaced else ((0, 0, 1, 1),)
    lines = b"".join(line for x, y, right, down in passes for line in _lines(pixels[y::down, x::right]))
    chunks = _chunk(b"IHDR", header) + _chunk(b"IDAT", zlib.compress(lines, 9)) + _chunk(b"IEND", b"")
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunks)


def _lines(pixels: Pixels) -> Iterator[bytes]:
    """Scan lines, each behind the number of its filter (0, none); an empty pass has no lines."""
    if pixels.size == 0:
        return
    for row in pixels.astype(pixels.dtype.newbyteorder(">")):
        yield b"\0" + row.tobytes()


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
