"""Frames that need no change: the artist's own PNG data is taken over, without its metadata."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image

from keyturn.normalize import decode
from keyturn.png import chunks, deflate, png_writer

_HEAD = 33
_PLAIN_RGB = b"\x08\x02\x00\x00\x00"
"""Bit depth, colour type, compression, filter, interlace (PNG specification, third edition, 11.2.1)."""

_WHOLE_WINDOW = 0x78
"""First byte of a deflate stream with the usual window of 32 KiB. Some readers fail on smaller windows."""


def untouched(path: Path, picture: Image.Image) -> bytes | None:
    """Return the zip's file for the still at `path`, whose pixels are `picture` (RGB); None where the still is unfit.

    A fit file is plain 8-bit RGB of that size, sound to the last byte, holds nothing that changes its look, and is no
    larger than `png_writer.png` would make it.
    """
    with path.open("rb") as file:
        head = file.read(_HEAD)
        if head[16:29] != b"".join(side.to_bytes(4, "big") for side in picture.size) + _PLAIN_RGB:
            return None
        data = head + file.read()
    if not decode.is_sound(data):
        return None
    stream = b"".join(data[c.start : c.stop] for c in chunks.walk(io.BytesIO(data)) if c.kind == b"IDAT")
    if not _is_whole(stream, picture) or len(stream) > png_writer.packed_size(np.asarray(picture)):
        return None
    return png_writer.png_of(picture.size, stream)


def _is_whole(stream: bytes, picture: Image.Image) -> bool:
    row = 1 + 3 * picture.width
    raw = deflate.inflated(stream, row * picture.height)
    return raw is not None and stream[0] == _WHOLE_WINDOW and max(raw[::row]) <= 4
