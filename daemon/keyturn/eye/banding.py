"""16-bit colour (RGB565): how such a panel shows a picture, dithering for it, and a measure of banding."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]

LEVELS = (31, 63, 31)
"""The highest code of each channel: five bits of red, six of green, five of blue."""


def _widened(top: int) -> U8:
    """Return the codes up to `top`, of 5 or 6 bits, as the panel widens them to 8: the code, then its high bits."""
    bits = top.bit_length()
    codes = np.arange(top + 1)
    return (codes << (8 - bits) | codes >> (2 * bits - 8)).astype(np.uint8)


SHOWN: tuple[U8, U8, U8] = (_widened(31), _widened(63), _widened(31))
"""The 8-bit values that 565 can show, by channel."""


def quantised(rgb: U8) -> U8:
    """Return (H, W, 3) as a 565 panel shows it: low bits cut off, as drivers do, then widened to 8 bits."""
    return _per_channel(rgb, [SHOWN[c][np.arange(256) * (LEVELS[c] + 1) >> 8] for c in range(3)])


def _per_channel(rgb: U8, tables: list[U8]) -> U8:
    return np.stack([np.take(tables[c], rgb[..., c]) for c in range(3)], axis=-1)


def bayer(order: int = 3) -> F32:
    """Return the threshold matrix of ordered dithering (Bayer 1973), 2^order a side, spread evenly within 0 to 1."""
    matrix = np.zeros((1, 1), int)
    for _ in range(order):
        matrix = np.block([[4 * matrix, 4 * matrix + 2], [4 * matrix + 3, 4 * matrix + 1]])
    return ((matrix + 0.5) / matrix.size).astype(np.float32)


def dithered(rgb: U8) -> U8:
    """Dither (H, W, 3) with Bayer's 8 x 8 matrix; return values that 565 shows exactly.

    A pixel between two such values takes the upper one where the matrix's threshold is below its place between them,
    so a flat area keeps its mean. A panel that cuts off low bits changes nothing more. Colours that 565 can show
    stay as they are.
    """
    tables = _dither_tables()
    height, width = rgb.shape[:2]
    place = np.arange(64).reshape(8, 8)
    tiled = np.tile(place, (-(-height // 8), -(-width // 8)))[:height, :width]
    return np.stack([tables[c][tiled, rgb[..., c]] for c in range(3)], axis=-1)


@lru_cache(maxsize=1)
def _dither_tables() -> tuple[U8, ...]:
    """Return for each channel (64, 256): the value that each place of the matrix gives each code."""
    return tuple(_dither_table(shown, bayer().reshape(64, 1)) for shown in SHOWN)


def _dither_table(shown: U8, threshold: F32) -> U8:
    code = np.arange(256)
    below = np.searchsorted(shown, code, side="right") - 1
    low = shown[below].astype(np.float32)
    step = shown[np.minimum(below + 1, len(shown) - 1)] - low
    between = np.divide(code - low, step, out=np.zeros(256, np.float32), where=step > 0)
    table: U8 = shown[below + (between > threshold)]
    return table


REACH = 8
"""Side of the square the eye averages, in pixels: one period of the dither, about 0.15 degree on the usual panel."""


AREA = 17
"""Side, in squares of `REACH` pixels, of the area whose mean error counts as an even shift of brightness."""


def banding(original: U8, shown: U8) -> float:
    """Return the visible banding of `shown` against `original` (H, W, 3), in 8-bit codes; 0 is none.

    A band is seen where a picture is too dark over an area too large for the eye to average, and too bright in the
    next area. So both pictures are averaged over 8 x 8 pixels. An even shift of brightness is no band, so the mean
    difference over 17 x 17 such squares is subtracted. The figure is the root mean square of the rest.
    Cutting a slow gradient to 565 leaves a sawtooth as wide as its bands. Dithering moves that error into grain so
    fine that the averaging removes it.

    Raise `ValueError` where the sizes differ.
    """
    if original.shape != shown.shape:
        raise ValueError(f"pictures of shapes {original.shape} and {shown.shape} cannot be compared")
    error = _block_means(shown.astype(np.int16) - original)
    rest = error - _around(error, AREA)
    return float(np.sqrt(np.mean(rest**2, dtype=np.float64)))


def _block_means(values: NDArray[np.int16]) -> F32:
    """Return the means of the 8 x 8 blocks of (H, W, 3); the last blocks are filled up by repeating the edge."""
    height, width = values.shape[:2]
    whole = np.pad(values, ((0, -height % REACH), (0, -width % REACH), (0, 0)), mode="edge")
    blocks = whole.reshape(whole.shape[0] // REACH, REACH, -1, 3).sum(axis=1, dtype=np.int32)
    wide: F32 = blocks.reshape(len(blocks), -1, REACH, 3).sum(axis=2) / np.float32(REACH * REACH)
    return wide


def _around(values: F32, side: int) -> F32:
    """Return the means over squares of `side` blocks (an odd number); edges are repeated."""
    for axis in (0, 1):
        pads = [(side // 2, side // 2) if axis == a else (0, 0) for a in range(3)]
        windows = np.lib.stride_tricks.sliding_window_view(np.pad(values, pads, mode="edge"), side, axis=axis)
        values = windows.mean(axis=-1, dtype=np.float32)
    return values
