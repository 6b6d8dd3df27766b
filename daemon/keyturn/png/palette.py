"""Frames of few colours as palette PNG: the same pixels, one byte each (PNG specification, third edition, 11.2.2).

An index always has 8 bits, and there is no transparency. Decoders seldom meet fewer bits, and deflate saves most of
what they would save.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.png import deflate, png_writer

U8 = NDArray[np.uint8]

MOST_COLOURS = 256

_SAMPLED = 24
"""About so many rows are looked at first. Grain and soft light show more than 256 colours in them, which takes 0.3 ms
for 768 x 1024 pixels instead of 12 ms for all rows."""


def png(pixels: U8, pack: Callable[[Any], bytes] = deflate.of_repeats) -> bytes | None:
    """Return (H, W, 3) pixels as an 8-bit palette PNG, not interlaced; None where they have more than 256 colours.

    `pack` compresses the rows. They are not filtered: neighbouring indices are not similar colours (the
    specification's advice, 12.7).
    """
    step = 1 + len(pixels) // _SAMPLED
    if png_writer.distinct(png_writer.codes(pixels[::step])) > MOST_COLOURS:
        return None
    codes = png_writer.codes(pixels)
    marks = np.zeros(1 << 24, np.bool_)
    marks[codes] = True
    colours = np.flatnonzero(marks)
    if len(colours) > MOST_COLOURS:
        return None
    places = np.zeros(1 << 24, np.uint8)
    places[colours] = np.arange(len(colours), dtype=np.uint8)
    rows = np.zeros((len(codes), codes.shape[1] + 1), np.uint8)  # each row begins with filter type 0, none
    rows[:, 1:] = places[codes]
    table = np.stack([colours >> 16, colours >> 8 & 255, colours & 255], axis=-1).astype(np.uint8)
    return png_writer.png_of((codes.shape[1], len(codes)), pack(rows), table.tobytes())
