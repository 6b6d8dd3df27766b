"""16-bit colour (RGB565): what such a panel makes of a picture, dithering for it, and a measure of banding."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]

LEVELS = (31, 63, 31)
"""The highest code of each channel: five bits of red, six of green, five of blue."""


def _widened(top: int) -> U8:
    """5- and 6-bit codes as the panel widens them to 8 bits: the code, then its own high bits again."""
    bits = top.bit_length()
    codes = np.arange(top + 1)
    return (codes << (8 - bits) | codes >> (2 * bits - 8)).astype(np.uint8)


SHOWN: tuple[U8, U8, U8] = (_widened(31), _widened(63), _widened(31))
"""The 8-bit values that 565 can show, of each channel."""


def quantised(rgb: U8) -> U8:
    """(H, W, 3) as a 565 panel shows it undithered: low bits cut off, as drivers do, then widened to 8 bits."""
    return _per_channel(rgb, [SHOWN[c][np.arange(256) * (LEVELS[c] + 1) >> 8] for c in range(3)])


def _per_channel(rgb: U8, tables: list[U8]) -> U8:
    return np.stack([np.take(tables[c], rgb[..., c]) for c in range(3)], axis=-1)


def bayer(order: int = 3) -> F32:
    """The 2^order threshold matrix of ordered dithering (Bayer 1973), spread evenly over 0 to 1 exclusive."""
    matrix = np.zeros((1, 1), int)
    for _ in range(order):
        matrix = np.block([[4 * matrix, 4 * matrix + 2], [4 * matrix + 3, 4 * matrix + 1]])
    return ((matrix + 0.5) / matrix.size).astype(np.float32)


def dithered(rgb: U8) -> U8:
    """(H, W, 3) dithered with Bayer's 8 x 8 matrix; every value is one that 565 shows exactly.

    A pixel between two such values takes the upper one in that part of the matrix in which the value stands
    between them, so a flat area keeps its mean. A panel that cuts off low bits changes nothing more.
    Colours that 565 can show come through untouched.
    """
    tables = _dither_tables()
    height, width = rgb.shape[:2]
    place = np.arange(64).reshape(8, 8)
    tiled = np.tile(place, (-(-height // 8), -(-width // 8)))[:height, :width]
    return np.stack([tables[c][tiled, rgb[..., c]] for c in range(3)], axis=-1)


@lru_cache(maxsize=1)
def _dither_tables() -> tuple[U8, ...]:
    """For each channel (64, 256): what each place of the matrix makes of each code."""
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
"""Side, in such squares, of the area whose mean error is taken for an even shift."""


def banding(original: U8, shown: U8) -> float:
    """Visible banding of `shown` against `original` (H, W, 3), in 8-bit codes; 0 is none.

    A band is seen where, over an area too large for the eye to average, a picture stays too dark and the next
    area too bright. So both pictures are averaged over 8 x 8 pixels; of the difference that remains its
    own mean over 17 x 17 such squares is taken away, for an even shift of brightness is no band;
    the figure is the root mean square of the rest. Cutting a slow gradient to 565 leaves a sawtooth as
    wide as its bands; dithering moves that error into grain finer than the averaging, which removes it.
    """
    if original.shape != shown.shape:
        raise ValueError(f"pictures of shapes {original.shape} and {shown.shape} cannot be compared")
    error = _block_means(shown.astype(np.int16) - original)
    rest = error - _around(error, AREA)
    return float(np.sqrt(np.mean(rest**2, dtype=np.float64)))


def _block_means(values: NDArray[np.int16]) -> F32:
    """(H, W, 3) to the means of its 8 x 8 blocks, the last ones filled up by repeating the edge."""
    height, width = values.shape[:2]
    whole = np.pad(values, ((0, -height % REACH), (0, -width % REACH), (0, 0)), mode="edge")
    blocks = whole.reshape(whole.shape[0] // REACH, REACH, -1, 3).sum(axis=1, dtype=np.int32)
    wide: F32 = blocks.reshape(len(blocks), -1, REACH, 3).sum(axis=2) / np.float32(REACH * REACH)
    return wide


def _around(values: F32, side: int) -> F32:
    """Means over squares of `side` blocks (an odd number), edges repeated."""
    for axis in (0, 1):
        pads = [(side // 2, side // 2) if axis == a else (0, 0) for a in range(3)]
        windows = np.lib.stride_tricks.sliding_window_view(np.pad(values, pads, mode="edge"), side, axis=axis)
        values = windows.mean(axis=-1, dtype=np.float32)
    return values
