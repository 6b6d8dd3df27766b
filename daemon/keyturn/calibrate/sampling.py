"""Light at places between the pixels of a film frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


def light(grey: NDArray[np.uint8], points: F64) -> NDArray[np.float32]:
    """Return the light at `points` (..., 2), x and y in px, by the four pixels around each. Pixel 0 is from 0 to 1.

    Outside the picture it is that of the nearest edge.
    """
    tall, wide = grey.shape
    x = _within(points[..., 0], wide)
    y = _within(points[..., 1], tall)
    column, row = x.astype(np.intp), y.astype(np.intp)
    across, down = x - column.astype(np.float32), y - row.astype(np.float32)
    at = row * wide + column
    flat = grey.reshape(-1)
    top = flat[at] * (1 - across) + flat[at + 1] * across
    foot = flat[at + wide] * (1 - across) + flat[at + wide + 1] * across
    return np.asarray(top * (1 - down) + foot * down, np.float32)


def _within(at: F64, size: int) -> NDArray[np.float32]:
    """Return the places counted from the middle of the first pixel, inside the picture; 0 for what is not a number."""
    shifted = np.fmin(at.astype(np.float32) - np.float32(0.5), np.float32(size - 1.01))
    return np.asarray(np.fmax(shifted, np.float32(0)), np.float32)
