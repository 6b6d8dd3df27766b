"""Which flicker is a fine, balanced pattern, which WCAG 2.2 exempts."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.area import box_around
from keyturn.eye.window_sums import window_sums

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Bits = NDArray[np.bool_]

DISORDER = 0.25
"""In fine patterns the product of four neighbouring changes, summed, is under this share of the most it can be."""

BALANCE = 0.3
"""In balanced patterns the mean change is under this share of the mean size of a change."""


def white_noise(change: F32, reach: int, among: Bits | None = None) -> Bits:
    """Return where a frame-to-frame `change` (rows, cols) is 'a fine, balanced pattern such as white noise'.

    Only the cells `among` are looked at; the others come back as False. Without `among` all are.

    WCAG 2.2 exempts such patterns. Averaging over a cell removes a checkerboard finer than the cell, but only weakens
    noise. Each cell is judged with those up to `reach` cells away:

    - Balanced: what turns brighter and what turns darker cancel out.
    - Fine: neighbouring cells change independently. In any larger pattern, an even area as well as stripes or a
      checkerboard, the change is (a factor of the row) x (a factor of the column). So the product of the four changes
      in a 2 x 2 block is positive and as large as their sizes allow. For independent changes it averages to 0.

    Both bounds lie far from what patterns of either sort give.
    """
    noise = np.zeros(change.shape, np.bool_)
    among = ~noise if among is None else among
    if (box := box_around(among, reach + 1)) is None:  # the fourth cell of a block is one cell further on
        return noise
    ends = slice(box[0].stop), slice(box[1].stop)  # sums begin at the corner: begun elsewhere they round otherwise
    change, among = change[ends], among[ends]
    balanced = np.abs(_box(change, reach)) < BALANCE * _box(np.abs(change), reach)
    balanced &= among
    if not balanced.any():
        return noise
    a, b, c, d = change[:-1, :-1], change[:-1, 1:], change[1:, :-1], change[1:, 1:]
    product = a * b * c * d
    power = ((a * a + b * b + c * c + d * d) / 4) ** 2
    fine = _box(product, reach) < DISORDER * _box(power, reach)
    noise[ends] = balanced & _edge_repeated(fine, 0, 1)
    return noise


def _box(values: F32, reach: int) -> F64:
    """Return the sums over each cell and `reach` cells each way; beyond the edge, the edge cells are repeated."""
    return window_sums(_edge_repeated(values, reach, reach), (2 * reach + 1, 2 * reach + 1))


def _edge_repeated(values: NDArray[Any], before: int, after: int) -> NDArray[Any]:
    """Return the cells with those at the edge repeated: so many times at the top and left, at the bottom and right."""
    rows, columns = (np.arange(-before, length + after).clip(0, length - 1) for length in values.shape)
    repeated: NDArray[Any] = values[rows][:, columns]
    return repeated
