"""How much of a 10-degree field a set of cells covers."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.screen import Screen
from keyturn.eye.window_sums import CLOSE, run_sums, summed_table, window_counts

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Bits = NDArray[np.bool_]
Area = F32 | Bits
"""The area that flashes in each cell, in pixels, or where a cell is a pixel whether it does."""

ROUNDING = 1e-4
"""An area above the limit by less than this share of it counts as the limit, which passes: cells hold rounded light.
Areas counted in pixels are exact to `EXACT`."""

EXACT = 1e-6


SURELY = 1 + 1e-5
"""By so much more than what cells can cover at most, a limit is surely not exceeded, however sums are rounded."""

LEAST = np.float32(1e-20)
"""Smaller than any change of light, larger than none."""

CellBox = tuple[slice, slice]

WHOLE: CellBox = (slice(None), slice(None))
"""The box of all cells."""

Places = tuple[NDArray[np.intp], NDArray[np.intp]]
"""Rows and columns of some cells, which together are an index of them."""


class Fields:
    """Areas within every position of the 10-degree field on one screen.

    `share` is the share of a field that may flash, 0 to 1. `shape` counts the field's positions down and across. A
    field is not a whole number of cells. So it is tried with its first edges and with its last edges where cells
    begin and end, and the cell at the other edge counts by the part of it that the field covers. Between such places
    the area changes evenly, so none is larger.
    """

    def __init__(self, screen: Screen, share: float) -> None:
        self.cell_area = screen.cell_area_px
        self._largest_cell = float(self.cell_area.max()) * SURELY
        self._pixels = screen.cell_px <= 1
        self._field = tuple(map(min, screen.field_cells, screen.shape))
        self._inside, self._touched = zip(*map(_whole_cells, self._field, screen.shape), strict=True)
        self._whole = screen.field_area_px
        self.share_limit = share * (1 + (EXACT if self._pixels else ROUNDING))
        self.limit_px = self.share_limit * self._whole
        self.shape = tuple(n - math.ceil(f - EXACT) + 1 for n, f in zip(screen.shape, self._field, strict=True))

    def covered(self, cells: Bits, swing: F32) -> F32:
        """Return the area, in pixels, that flashes in each cell, (rows, cols).

        `cells` are those whose `swing`, the change of their light, reaches the threshold. Only a part of a cell at
        the edge of a flashing area flashes, and in linear light its swing is that part of its neighbour's. So an
        edge cell counts by its share of the largest flashing swing beside it, whether or not its own swing reached
        the threshold. That is an estimate, right on still ground: where it could decide, `close_look` counts pixels.
        A cell that is one pixel counts whole.
        """
        if self._pixels:
            return cells * self.cell_area
        area = np.zeros(cells.shape, np.float32)
        if (box := box_around(cells, 1)) is None:
            return area
        cells, swing = cells[box], swing[box]
        beside = np.maximum(_greatest_around(swing * cells), LEAST)
        inner = ~any_around(~cells, beyond=True)
        edge = swing / beside
        partly = np.minimum(edge, 1)
        partly *= cells | (edge < 1)
        np.copyto(partly, 1, where=inner)
        np.multiply(partly, self.cell_area[box], out=area[box])
        return area

    def may_exceed(self, cells: Bits) -> bool:
        """Tell whether the area that `covered` gives for `cells` could be larger than the limit at all.

        It covers no more than these cells and those beside them.
        """
        most = np.count_nonzero(cells) * (1 if self._pixels else 9) * self._largest_cell
        if most <= self.limit_px or self._pixels:
            return bool(most > self.limit_px)
        around = any_around(cells, beyond=False)
        if np.count_nonzero(around) * self._largest_cell <= self.limit_px:
            return False
        return bool(window_counts(around, self._touched).max() * self._largest_cell > self.limit_px)

    def shares(self, area: Area) -> F64:
        """Return for each position of the field the share of it that `area` (pixels a cell) covers."""
        return _field_sums(area, self._field) / self._whole

    def largest(self, area: Area) -> float:
        """Return the largest share of a field that `area` (pixels a cell) covers."""
        return float(self.shares(area).max()) if area.any() else 0.0

    def exceeds(self, area: Area) -> bool:
        """Tell whether `area` (pixels a cell) covers more than the limit at some position of the field."""
        if area.dtype != np.bool_ and all(self._inside):  # sums in single precision nearly always tell
            least = float(run_sums(area, self._inside).max())
            if least * (1 - CLOSE) > self.limit_px:
                return True
            most = least if self._inside == self._touched else float(run_sums(area, self._touched).max())
            if most * (1 + CLOSE) <= self.limit_px:
                return False
        return bool(self.large(area).any())

    def large(self, area: Area) -> Bits:
        """Return the positions of the field of which `area` (pixels a cell) covers more than the limit."""
        return self.large_and_largest(area)[0]

    def large_and_largest(self, area: Area) -> tuple[Bits, float]:
        """Return those positions, and the largest share, which is 0 where there are none."""
        whole = np.count_nonzero(area) if area.dtype == np.bool_ else float(area.sum(dtype=np.float64))
        if whole <= self.limit_px:
            return np.zeros(self.shape, np.bool_), 0.0
        shares = self.shares(area)
        return shares > self.share_limit, float(shares.max())


def _whole_cells(field: float, length: int) -> tuple[int, int]:
    """Return how many whole cells a field as long as this holds wherever it is tried, and how many it touches."""
    inside = int(field + EXACT)
    return inside, inside if field - inside <= EXACT else min(inside + 1, length)


def _field_sums(values: Area, field: tuple[float, ...]) -> F64:
    """Return the greatest sums that a field of (rows, cols), not whole numbers, has at each position."""
    tall, wide = field
    return _greatest([sums.T for band in _spans(summed_table(values), tall) for sums in _spans(band.T, wide)])


def _greatest(sums: list[F64]) -> F64:
    first, *others = sums
    for other in others:
        first = np.maximum(first, other)
    return first


def _spans(table: NDArray[Any], length: float) -> list[F64]:
    """Return the sums over `length` rows of a summed table, begun at a row's first edge and ended at a row's last."""
    whole = int(length + EXACT)
    part = length - whole
    count = len(table) - whole
    if part <= EXACT:
        return [table[whole:] - table[:count]]
    first, second = table[: count - 1], table[1:count]
    last, beyond = table[whole:-1], table[whole + 1 :]
    return [last + part * (beyond - last) - first, beyond - second + part * (second - first)]


def _greatest_around(values: F32) -> F32:
    """Return the greatest value among each cell and its eight neighbours; none is below 0."""
    return _joined_around(_framed(values, 0), np.maximum)


def any_around(cells: Bits, beyond: bool) -> Bits:
    """Tell where a cell or one of its eight neighbours is set; `beyond` is the value of what lies off the screen."""
    return _joined_around(_framed(cells, beyond), np.logical_or)


def _joined_around(framed: NDArray[Any], joined: np.ufunc) -> NDArray[Any]:
    """Return `joined` over each cell and its eight neighbours; the cells of the frame are neighbours only."""
    wide = framed.shape[1]
    line = framed.ravel()
    tall = joined(joined(line[: -2 * wide], line[wide:-wide]), line[2 * wide :])
    found: NDArray[Any] = np.empty_like(tall)
    joined(joined(tall[:-2], tall[1:-1]), tall[2:], out=found[:-2])
    return found.reshape(-1, wide)[:, :-2]


def box_around(cells: Bits, reach: int) -> CellBox | None:
    """Return the rows and columns that hold all cells that are set and `reach` cells each way; None without any."""
    sides = []
    for axis in (1, 0):
        (within,) = np.nonzero(cells.any(axis=axis))
        if not within.size:
            return None
        sides.append(slice(max(0, int(within[0]) - reach), min(cells.shape[1 - axis], int(within[-1]) + reach + 1)))
    return sides[0], sides[1]


def places(cells: Bits) -> Places:
    """Return the places of the cells that are set, in an eighth of the time of `numpy.nonzero`."""
    rows, cols = np.divmod(np.flatnonzero(cells), cells.shape[1])
    return rows, cols


def _framed(values: NDArray[Any], beyond: float) -> NDArray[Any]:
    """Return the cells with one row or column of `beyond` on each side, in a tenth of the time of `numpy.pad`."""
    framed = np.full((values.shape[0] + 2, values.shape[1] + 2), beyond, values.dtype)
    framed[1:-1, 1:-1] = values
    return framed
