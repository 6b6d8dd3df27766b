"""Light from pixels: linear sRGB, relative luminance, chromaticity, and the cells an eye can tell apart.

Sources: IEC 61966-2-1 (sRGB transfer function and primaries); W3C WCAG 2.2, 'relative luminance' and
'general flash and red flash thresholds'; CIE 015 (the CIE 1976 uniform chromaticity scale, u'v').
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.shop import radio_profile, rulebook

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
    if rgb.flags.c_contiguous and rgb.ndim and rgb.shape[-1] % 2 == 0:
        return np.take(PAIRS, rgb.view(np.uint16), mode="clip").view(np.float32)
    return np.take(LINEAR, rgb, mode="clip")


def relative_luminance(red: F32, green: F32, blue: F32) -> F32:
    """Return the relative luminance of planes of linear light, in their own unit."""
    light: F32 = red * WEIGHTS[0] + green * WEIGHTS[1] + blue * WEIGHTS[2]
    return light


def uv_planes(red: F32, green: F32, blue: F32) -> tuple[F32, F32]:
    """Return u' = 4X / (X + 15Y + 3Z) and v' = 9Y / (X + 15Y + 3Z) of planes of linear light of any scale.

    Black has no chromaticity; it is (0, 0).
    """
    u, v, w = (m[0] * red + m[1] * green + m[2] * blue for m in (4 * TO_XYZ[0], 9 * TO_XYZ[1], _UV_WHOLE))
    w = np.maximum(w, np.float32(1e-12))
    return u / w, v / w


_UV_WHOLE = np.array([1, 15, 3], np.float32) @ TO_XYZ


def cells(rgb: NDArray[np.uint8], cell_px: float) -> NDArray[np.uint16]:
    """Return the mean linear light of each square of `cell_px`, (H, W, 3) to (rows, cols, 3), 1.0 scaled to 65535.

    Averaging is over exact fractions of pixels. Cells of whole pixels would have two sizes; a fine checkerboard,
    which WCAG exempts, would give them different means and seem to flash. The last row and column hold what is left.
    A cell smaller than a pixel is a pixel.
    """
    if cell_px <= 1:
        return np.take(LINEAR16, rgb, mode="clip")
    height, width = rgb.shape[:2]
    lines = rgb.reshape(height, -1)
    tall = _means(lines, cell_px, linear).reshape(-1, width, 3)
    upright = np.ascontiguousarray(tall.swapaxes(0, 1)).reshape(width, -1)
    wide = _means(upright, cell_px, lambda part: part).reshape(-1, len(tall), 3)
    return _scaled(wide.swapaxes(0, 1))


def _means(lines: NDArray[Any], cell_px: float, light: Callable[[NDArray[Any]], F32]) -> F32:
    """Return the mean light of each band of lines. Bands are worked one at a time, so that each stays in the cache."""
    bands = _bands(len(lines), cell_px)
    means = np.empty((len(bands), lines.shape[1]), np.float32)
    for band, (first, share) in enumerate(bands):
        np.dot(share, light(lines[first : first + len(share)]), out=means[band])
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


@dataclass(frozen=True, slots=True)
class Screen:
    """A screen as the flash check sees it: its size, the 10-degree field's size, and a cell's side, in pixels.

    WCAG 2.2 bounds the flashing area by 0.006 steradians, 'no more than 25% of any 10 degree visual field'. That is a
    solid angle at the eye. So the limit is a quarter of the *whole* field even where the panel is smaller than the
    field: the panel's edge does not make the same light more dangerous. The field is tried at every position on the
    panel; where the panel is smaller there is only one.
    """

    width_px: int
    height_px: int
    field_px: tuple[float, float]
    cell_px: float

    @classmethod
    def of(cls, panel: radio_profile.Panel, flash: rulebook.Flash) -> Screen:
        """Make the screen of a panel's geometry.

        The field is 4:3 as in WCAG's own example. At a width d of 10 degrees its area, 0.75 d^2, is just under the
        10-degree circle's 0.785 d^2, so its quarter is the stricter one.
        """
        width = flash.field_deg * panel.degree_px
        return cls(panel.width, panel.height, (width, 0.75 * width), flash.cell_deg * panel.degree_px)

    @classmethod
    def wcag(cls, flash: rulebook.Flash, size: tuple[int, int] = (1024, 768)) -> Screen:
        """Make a screen by WCAG's estimate for common ones: a field of 341 x 256 px at 1024 x 768, scaled to `size`."""
        width, height = size
        return cls.with_field(size, (341 * width / 1024, 256 * height / 768), flash)

    @classmethod
    def with_field(cls, size: tuple[int, int], field_px: tuple[float, float], flash: rulebook.Flash) -> Screen:
        """Make a screen whose 10-degree field is known in pixels."""
        return cls(*size, field_px, field_px[0] * flash.cell_deg / flash.field_deg)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of cells."""
        rows, cols = (len(edges_px(n, self.cell_px)) - 1 for n in (self.height_px, self.width_px))
        return rows, cols

    @property
    def cell_area_px(self) -> F32:
        """(rows, cols): the area of each cell in pixels; the last row and column may be narrower."""
        tall, wide = (np.diff(edges_px(n, self.cell_px)) for n in (self.height_px, self.width_px))
        return np.outer(tall, wide).astype(np.float32)

    @property
    def field_area_px(self) -> float:
        return self.field_px[0] * self.field_px[1]

    @property
    def field_cells(self) -> tuple[int, int]:
        """Rows and columns of cells that a field may touch, no more than the screen has.

        They are one more than the field's size in whole cells, because a field need not begin where a cell does. Where
        a cell is one pixel, a field begins with a cell.
        """
        rows, cols = map(self._touched, reversed(self.field_px))
        return min(rows, self.shape[0]), min(cols, self.shape[1])

    def _touched(self, side_px: float) -> int:
        if self.cell_px <= 1:
            return max(1, math.ceil(side_px - 1e-6))
        return math.floor(side_px / self.cell_px + 1e-6) + 1
