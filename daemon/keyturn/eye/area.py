"""How much of a 10-degree field a set of cells covers, and which flicker is a fine pattern that WCAG exempts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.screen import Screen

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Bits = NDArray[np.bool_]

ROUNDING = 1e-4
"""An area above the limit by less than this share of it counts as the limit, which passes: 2 of WCAG's 21,824 px."""


class Fields:
    """Areas within every position of the 10-degree field on one screen.

    `share` is the share of a field that may flash, 0 to 1. `shape` counts the field's positions down and across.
    """

    def __init__(self, screen: Screen, share: float) -> None:
        self._cell_area = screen.cell_area_px
        self._window = screen.field_cells
        self._whole = screen.field_area_px
        self.share_limit = share * (1 + ROUNDING)
        rows, cols = screen.shape
        self.shape = (rows - self._window[0] + 1, cols - self._window[1] + 1)

    def covered(self, cells: Bits, swing: F32) -> F32:
        """Return the area, in pixels, that flashes in each cell, (rows, cols).

        `cells` are those whose `swing`, the change of their light, reaches the threshold. Only a part of a cell at
        the edge of a flashing area flashes, and in linear light its swing is that part of its neighbour's. So an
        edge cell counts by its share of the largest flashing swing beside it, whether or not its own swing reached
        the threshold. Counting whole cells would make a 150 px box five per cent too large, and a faint one as much
        too small.
        """
        beside = _greatest_around(np.where(cells, swing, np.float32(0)))
        inner = ~_any_around(~cells, beyond=True)
        edge = np.divide(swing, beside, out=np.zeros_like(swing), where=beside > 0)
        partly = np.where(cells, np.minimum(edge, 1), np.where(edge < 1, edge, 0))
        area: F32 = np.where(inner, np.float32(1), partly).astype(np.float32) * self._cell_area
        return area

    def shares(self, area: F32) -> F64:
        """Return for each position of the field the share of it that `area` (pixels a cell) covers."""
        return _window_sums(area, self._window) / self._whole

    def exceeds(self, area: F32) -> bool:
        """Tell whether `area` (pixels a cell) covers more than the limit at some position of the field."""
        if float(area.sum(dtype=np.float64)) <= self.share_limit * self._whole:
            return False
        return bool(self.shares(area).max() > self.share_limit)


def _window_sums(values: F32, window: tuple[int, int]) -> F64:
    """Return the sums over every position of a window that lies whole on the screen, by a summed-area table."""
    rows, cols = window
    table = np.zeros((values.shape[0] + 1, values.shape[1] + 1))
    np.cumsum(values, axis=0, dtype=np.float64, out=table[1:, 1:])
    np.cumsum(table[1:, 1:], axis=1, out=table[1:, 1:])
    tall = table[rows:] - table[:-rows]
    sums: F64 = tall[:, cols:] - tall[:, :-cols]
    return sums


def _greatest_around(values: F32) -> F32:
    """Return the greatest value among each cell and its eight neighbours."""
    padded = np.pad(values, 1)
    tall = np.maximum(np.maximum(padded[:-2], padded[1:-1]), padded[2:])
    wide: F32 = np.maximum(np.maximum(tall[:, :-2], tall[:, 1:-1]), tall[:, 2:])
    return wide


def _any_around(cells: Bits, beyond: bool) -> Bits:
    """Tell where a cell or one of its eight neighbours is set; `beyond` is the value of what lies off the screen."""
    padded = np.pad(cells, 1, constant_values=beyond)
    tall = padded[:-2] | padded[1:-1] | padded[2:]
    wide: Bits = tall[:, :-2] | tall[:, 1:-1] | tall[:, 2:]
    return wide


DISORDER = 0.25
"""In fine patterns the product of four neighbouring changes, summed, is under this share of the most it can be."""

BALANCE = 0.3
"""In balanced patterns the mean change is under this share of the mean size of a change."""


def white_noise(change: F32, reach: int) -> Bits:
    """Return where a frame-to-frame `change` (rows, cols) is 'a fine, balanced pattern such as white noise'.

    WCAG 2.2 exempts such patterns. Averaging over a cell removes a checkerboard finer than the cell, but only weakens
    noise. Each cell is judged with those up to `reach` cells away:

    - Balanced: what turns brighter and what turns darker cancel out.
    - Fine: neighbouring cells change independently. In any larger pattern, an even area as well as stripes or a
      checkerboard, the change is (a factor of the row) x (a factor of the column). So the product of the four changes
      in a 2 x 2 block is positive and as large as their sizes allow. For independent changes it averages to 0.

    Both bounds lie far from what patterns of either sort give.
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
    """Return the sums over each cell and `reach` cells each way; beyond the edge, the edge cells are repeated."""
    return _window_sums(np.pad(values, reach, mode="edge"), (2 * reach + 1, 2 * reach + 1))
