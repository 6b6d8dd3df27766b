"""Light from pixels: linear sRGB, relative luminance, chromaticity, and the cells an eye can tell apart.

Sources: IEC 61966-2-1 (sRGB transfer function and primaries); W3C WCAG 2.2, 'relative luminance' and
'general flash and red flash thresholds'; CIE 015 (the CIE 1976 uniform chromaticity scale, u'v').
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.shop.line_differences import differ

F32 = NDArray[np.float32]
FULL = 65535
"""The cell value that stands for linear light 1.0."""

WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Relative luminance of linear R, G, B (WCAG 2.2)."""

TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]],
    np.float32,
)
"""Linear sRGB to CIE XYZ, D65 (IEC 61966-2-1)."""


def _transfer() -> NDArray[np.float64]:
    """Return the linear light of the 256 sRGB codes.

    WCAG's older bound, 0.03928, divides 8-bit codes just as 0.04045 does.
    """
    code = np.arange(256) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


LINEAR: F32 = _transfer().astype(np.float32)
LINEAR16: NDArray[np.uint16] = np.rint(_transfer() * FULL).astype(np.uint16)


def _pairs() -> NDArray[np.complex64]:
    """Return the linear light of every pair of codes, indexed by the two bytes as they lie in memory."""
    codes = np.arange(1 << 16, dtype=np.uint16).view(np.uint8).reshape(-1, 2)
    pairs: NDArray[np.complex64] = LINEAR[codes].view(np.complex64)[:, 0]
    return pairs


PAIRS = _pairs()
"""Two codes are looked up at once, as one complex number of two floats: that is half as many look-ups."""


def linear(rgb: NDArray[np.uint8]) -> F32:
    """Convert sRGB codes to linear light, 0 to 1, of the same shape."""
    light = np.empty(rgb.shape, np.float32)
    _look_up(rgb, light)
    return light


def _look_up(rgb: NDArray[np.uint8], light: F32) -> None:
    """Write the linear light of sRGB codes to `light`, of the same shape. No index is out of range to be clipped."""
    if rgb.flags.c_contiguous and rgb.ndim and rgb.shape[-1] % 2 == 0:
        np.take(PAIRS, rgb.view(np.uint16), mode="clip", out=light.view(np.complex64))
    else:
        np.take(LINEAR, rgb, mode="clip", out=light)


def planes(light: NDArray[Any]) -> tuple[F32, F32, F32]:
    """Return red, green and blue of (rows, columns, 3) as planes of their own, in the same unit."""
    red, green, blue = (np.ascontiguousarray(light[..., i], np.float32) for i in range(3))
    return red, green, blue


def relative_luminance(red: F32, green: F32, blue: F32) -> F32:
    """Return the relative luminance of planes of linear light, in their own unit."""
    light: F32 = red * WEIGHTS[0] + green * WEIGHTS[1] + blue * WEIGHTS[2]
    return light


def uv_planes(red: F32, green: F32, blue: F32) -> F32:
    """Return u' = 4X / (X + 15Y + 3Z) and v' = 9Y / (X + 15Y + 3Z) of planes of linear light of any scale.

    They are the two planes of one array. Black has no chromaticity; it is (0, 0).
    """
    of_red, of_green, of_blue = _UVW.T.reshape(3, 3, *(1,) * red.ndim)
    uvw = of_red * red + of_green * green + of_blue * blue
    uv: F32 = uvw[:2] / np.maximum(uvw[2], np.float32(1e-12))
    return uv


_UVW = np.array([4 * TO_XYZ[0], 9 * TO_XYZ[1], np.array([1, 15, 3], np.float32) @ TO_XYZ])
"""From linear light to 4X, 9Y and X + 15Y + 3Z."""


def cells(rgb: NDArray[np.uint8], cell_px: float) -> NDArray[np.uint16]:
    """Return the mean linear light of each square of `cell_px`, (H, W, 3) to (rows, cols, 3), 1.0 scaled to 65535.

    Averaging is over exact fractions of pixels. Cells of whole pixels would have two sizes; a fine checkerboard,
    which WCAG exempts, would give them different means and seem to flash. The last row and column hold what is left.
    A cell smaller than a pixel is a pixel.
    """
    if cell_px <= 1:
        return np.take(LINEAR16, rgb, mode="clip")
    height, width = rgb.shape[:2]
    tall = _lit_means(rgb.reshape(height, -1), cell_px).reshape(-1, width, 3)
    upright = np.empty((width, len(tall), 3), np.float32)
    for i in range(3):  # one colour at a time takes a third of the time
        upright[..., i] = tall[..., i].T
    wide = _means(upright.reshape(width, -1), cell_px).reshape(-1, len(tall), 3)
    return _scaled(wide.swapaxes(0, 1))


def _means(lines: F32, cell_px: float) -> F32:
    """Return the mean of each band of lines."""
    bands = _bands(len(lines), cell_px)
    means = np.empty((len(bands), lines.shape[1]), np.float32)
    for band, (first, share) in enumerate(bands):
        np.dot(share, lines[first : first + len(share)], out=means[band])
    return means


def _lit_means(codes: NDArray[np.uint8], cell_px: float) -> F32:
    """Return the mean light of each band of lines of sRGB codes.

    Bands are worked one at a time, so that each stays in the cache. A line that lies in two bands is looked up once,
    and so are lines that are equal.
    """
    bands = _bands(len(codes), cell_px)
    means = np.empty((len(bands), codes.shape[1]), np.float32)
    light = np.empty((max(len(share) for _, share in bands), codes.shape[1]), np.float32)
    number = [0, *np.cumsum(differ(codes[1:], codes[:-1])).tolist()]  # equal lines that follow each other have the same
    seen = 0  # lines, of which the last lies at `last` in `light`, and in `equal` lines from its beginning
    last = equal = 0
    for band, (first, share) in enumerate(bands):
        here, end = light[: len(share)], first + len(share)
        if seen and number[end - 1] == number[seen - 1]:
            if equal < len(share):
                here[:], equal = light[last], len(share)
        else:
            if first < seen:
                here[0] = light[last]
            _look_up(codes[seen:end], here[seen - first :])
            equal = 0
        seen, last = end, len(share) - 1
        np.dot(share, here, out=means[band])
    return means


def _scaled(light: F32) -> NDArray[np.uint16]:
    scaled: NDArray[np.uint16] = np.clip(np.rint(light * np.float32(FULL)), 0, FULL).astype(np.uint16)
    return scaled


def edges_px(length: int, cell_px: float) -> NDArray[np.float64]:
    """Return where cells begin and end along `length` pixels, in pixels."""
    cell = max(cell_px, 1.0)
    return np.append(np.arange(math.ceil(length / cell - 1e-6)) * cell, float(length))


@lru_cache(maxsize=16)
def _bands(length: int, cell_px: float) -> tuple[tuple[int, F32], ...]:
    """Return for each cell its first pixel and the weight of each of its pixels in the mean."""
    edges = edges_px(length, cell_px)
    return tuple(_band(low, high) for low, high in itertools.pairwise(edges))


def _band(low: float, high: float) -> tuple[int, F32]:
    first, last = int(low), max(int(low) + 1, math.ceil(high - 1e-9))
    share = np.ones(last - first)
    share[0] -= low - first
    share[-1] -= last - high
    return first, (share / share.sum()).astype(np.float32)
