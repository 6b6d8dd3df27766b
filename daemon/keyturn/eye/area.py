"""How much of a 10-degree field a set of cells covers, and which flicker is too fine to matter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.luminance import Screen

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Bits = NDArray[np.bool_]

ROUNDING = 1e-4
"""Areas within a ten-thousandth of the limit are the limit itself, which passes: two pixels of WCAG's 21,824."""


class Fields:
    """Areas within every position of the 10-degree field on one screen."""

    def __init__(self, screen: Screen, share: float) -> None:
        self._cell_area = screen.cell_area_px
        self._window = screen.field_cells
        self._whole = screen.field_area_px
        self.share_limit = share * (1 + ROUNDING)
        rows, cols = screen.shape
        self.shape = (rows - self._window[0] + 1, cols - self._window[1] + 1)

    def covered(self, cells: Bits, swing: F32) -> F32:
        """The area, in pixels, that flashing `cells` stand for.

        A cell at the edge of a flashing area is flashing in part of itself only, and in linear light its
        swing is that part of its neighbour's. So an edge cell counts by its share of the largest flashing
        swing beside it, whether or not its own swing reached the threshold. Whole cells would
        make a 150 px box five per cent too large, and lose as much of a faint one.
        """
        beside = _greatest_around(np.where(cells, swing, np.float32(0)))
        inner = ~_any_around(~cells, beyond=True)
        edge = np.divide(swing, beside, out=np.zeros_like(swing), where=beside > 0)
        partly = np.where(cells, np.minimum(edge, 1), np.where(edge < 1, edge, 0))
        area: F32 = np.where(inner, np.float32(1), partly).astype(np.float32) * self._cell_area
        return area

    def shares(self, area: F32) -> F64:
        """For each position of the field the share of it that `area` (pixels a cell) covers."""
        return _window_sums(area, self._window) / self._whole

    def exceeds(self, area: F32) -> bool:
        """Is more than the limit of some field covered?"""
        if float(area.sum(dtype=np.float64)) <= self.share_limit * self._whole:
            return False
        return bool(self.shares(area).max() > self.share_limit)


def _window_sums(values: F32, window: tuple[int, int]) -> F64:
    """Sums over every whole position of a window, by a summed-area table."""
    rows, cols = window
    table = np.zeros((values.shape[0] + 1, values.shape[1] + 1))
    np.cumsum(values, axis=0, dtype=np.float64, out=table[1:, 1:])
    np.cumsum(table[1:, 1:], axis=1, out=table[1:, 1:])
    tall = table[rows:] - table[:-rows]
    sums: F64 = tall[:, cols:] - tall[:, :-cols]
    return sums


def _greatest_around(values: F32) -> F32:
    """The greatest of each cell and its eight neighbours."""
    padded = np.pad(values, 1)
    tall = np.maximum(np.maximum(padded[:-2], padded[1:-1]), padded[2:])
    wide: F32 = np.maximum(np.maximum(tall[:, :-2], tall[:, 1:-1]), tall[:, 2:])
    return wide


def _any_around(cells: Bits, beyond: bool) -> Bits:
    """Is any of each cell and its eight neighbours set? `beyond` stands for what lies off the screen."""
    padded = np.pad(cells, 1, constant_values=beyond)
    tall = padded[:-2] | padded[1:-1] | padded[2:]
    wide: Bits = tall[:, :-2] | tall[:, 1:-1] | tall[:, 2:]
    return wide


DISORDER = 0.25
BALANCE = 0.3


def white_noise(change: F32, reach: int) -> Bits:
    """Where a frame-to-frame `change` (rows, cols) is 'a fine, balanced pattern such as white noise', which
    WCAG 2.2 exempts. Averaging over a cell stills a checkerboard finer than the cell, but only thins noise.

    Judged over `reach` cells each way. Balanced: brighter and darker cancel, the mean change is under 0.3
    of the mean size of change. Fine: cells beside each other change independently. Any larger pattern,
    an even area as well as stripes or a checkerboard, changes by (row factor) x (column factor) from
    cell to cell, so the product of the four changes in a 2 x 2 block is as large as their sizes allow, and
    positive; for independent changes it averages to nothing. Both bounds lie far from what either gives.
    """
    size = np.abs(change)
    balanced = np.abs(_box(change, reach)) < BALANCE * _box(size, reach)
    if not balanced.any():
        return balanced
    a, b, c, d = change[:-1, :-1], change[:-1, 1:], change[1:, :-1], change[1:, 1:]
    product = a * b * c * d
    power = ((a * a + b * b + c * c + d * d) / 4) ** 2
    fine = _box(product, reach) < DISORDER * _box(power, reach)
    return balanced & np.pad(fine, ((0, 1), (0, 1)), mode="edge")


def _box(values: F32, reach: int) -> F64:
    """Sums over each cell and `reach` cells each way, the edge cells repeated beyond the edge."""
    return _window_sums(np.pad(values, reach, mode="edge"), (2 * reach + 1, 2 * reach + 1))
