"""Which flicker is a fine, balanced pattern, which WCAG 2.2 exempts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.area import CellBox, Places, box_around, places
from keyturn.eye.window_sums import CLOSE, run_sums

F32 = NDArray[np.float32]
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
    box = (slice(0, change.shape[0]), slice(0, change.shape[1])) if among is None else box_around(among, 0)
    if box is None:
        return noise
    wanted = places(np.ones_like(noise[box]) if among is None else among[box])
    near = _edge_repeated(change, box, reach)
    balanced = _less(near, np.abs(near), BALANCE, reach, np.abs, wanted)
    rows, cols = wanted[0][balanced] + box[0].start, wanted[1][balanced] + box[1].start
    if rows.size:
        fine = _fine(change, (rows, cols), reach)
        noise[rows[fine], cols[fine]] = True
    return noise


def _fine(change: F32, at: Places, reach: int) -> Bits:
    """Tell at which of the places neighbouring cells change independently.

    A cell is the first of its 2 x 2 block; one in the last row or column has the block before.
    """
    rows, cols = (np.minimum(each, length - 2) for each, length in zip(at, change.shape, strict=True))
    top, left, bottom, right = (int(n) for n in (rows.min(), cols.min(), rows.max(), cols.max()))
    first, last = (max(0, top - reach), max(0, left - reach)), (bottom + reach + 2, right + reach + 2)
    change = np.ascontiguousarray(change[first[0] : last[0], first[1] : last[1]])
    height, wide = change.shape
    line = change.ravel()  # the last block of each row is none, and the last row lacks one: neither is used
    square = line * line
    a, b, c, d = (slice(n, n + line.size - wide - 1) for n in (0, 1, wide, wide + 1))
    both = np.zeros((2, (height - 1) * wide), np.float32)
    both[0, :-1] = line[a] * line[b] * line[c] * line[d]
    both[1, :-1] = ((square[a] + square[b] + square[c] + square[d]) / 4) ** 2
    box = slice(top - first[0], bottom - first[0] + 1), slice(left - first[1], right - first[1] + 1)
    product, power = (_edge_repeated(each.reshape(-1, wide)[:, : wide - 1], box, reach) for each in both)
    return _less(product, power, DISORDER, reach, np.positive, (rows - top, cols - left))


def _less(values: F32, most: F32, share: float, reach: int, size: Callable[[Any], Any], at: Places) -> Bits:
    """Tell at which places the `size` of the sum of `values` is less than `share` of the sum of `most`.

    Sums are over each place and `reach` cells each way; both arrays are larger by that. No value is larger than its
    `most`. Sums in single precision tell nearly everywhere. Where they are too near, double precision does.
    """
    window = (2 * reach + 1, 2 * reach + 1)
    whole = run_sums(most, window)[at]
    margin = np.float32(share) * whole - size(run_sums(values, window)[at])
    less: Bits = margin > 0
    near = np.flatnonzero(np.abs(margin) <= np.float32(CLOSE) * whole)
    if near.size:
        part, all_of = (
            np.lib.stride_tricks.sliding_window_view(each, window)[at[0][near], at[1][near]].sum(
                axis=(1, 2), dtype=np.float64
            )
            for each in (values, most)
        )
        less[near] = size(part) < share * all_of
    return less


def _edge_repeated(values: NDArray[Any], box: CellBox, reach: int) -> NDArray[Any]:
    """Return the box and `reach` cells each way; beyond the edge, the edge cells are repeated."""
    repeated = np.empty([side.stop - side.start + 2 * reach for side in box], values.dtype)
    inside, known = zip(*map(_within, box, values.shape, (reach, reach)), strict=True)
    repeated[inside] = values[known]
    top, bottom, left, right = inside[0].start, inside[0].stop, inside[1].start, inside[1].stop
    repeated[top:bottom, :left] = repeated[top:bottom, left : left + 1]
    repeated[top:bottom, right:] = repeated[top:bottom, right - 1 : right]
    repeated[:top], repeated[bottom:] = repeated[top], repeated[bottom - 1]
    return repeated


def _within(side: slice, length: int, reach: int) -> tuple[slice, slice]:
    """Return where in a side that is longer by `reach` each way there are cells, and which."""
    known = slice(max(0, side.start - reach), min(length, side.stop + reach))
    return slice(known.start - side.start + reach, known.stop - side.start + reach), known
