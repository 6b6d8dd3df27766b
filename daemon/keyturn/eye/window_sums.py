"""Sums of an array of cells over every position of a window."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


def summed_table(values: NDArray[Any]) -> NDArray[Any]:
    """Return the summed-area table, one row and one column larger than `values`."""
    exact = np.int32 if values.dtype == np.bool_ else np.float64
    table = np.zeros((values.shape[0] + 1, values.shape[1] + 1), exact)
    np.cumsum(values, axis=1, dtype=exact, out=table[1:, 1:])
    np.cumsum(table[1:, 1:], axis=0, out=table[1:, 1:])
    return table


def window_sums(values: NDArray[Any], window: tuple[int, int]) -> F64:
    """Return the sums over every position of a window that lies whole on the screen, by a summed-area table."""
    rows, cols = window
    table = summed_table(values)
    tall = table[rows:] - table[:-rows]
    sums: F64 = tall[:, cols:] - tall[:, :-cols]
    return sums
