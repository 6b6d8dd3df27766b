"""PNG's row filters, many rows at a time (PNG specification, third edition, 9: Filtering).

Each row gets the filter with the least sum of absolute differences, read as signed bytes. The specification advises
this (12.7) as a cheap estimate of the row's entropy.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from keyturn.shop.line_differences import differ

U8 = NDArray[np.uint8]

NONE, SUB, UP, AVERAGE, PAETH = range(5)
"""Filter types as the specification numbers them (9.2)."""

_BAND = 64
"""Rows filtered at a time: few enough that they and their filtered candidates fit a processor's cache."""


def filtered(pixels: U8, filters: tuple[int, ...], above: U8 | None = None) -> U8:
    """Return the filtered rows (H, 1 + 3 W) of `pixels` (H, W, 3), each beginning with its filter's type.

    `filters` are those to choose from; of equally good ones the first is taken. `above` (W, 3) is the row above the
    first; without it the first row is a picture's top.
    """
    lines = pixels.reshape(len(pixels), -1)
    top = np.zeros((1, lines.shape[1]), np.uint8) if above is None else above.reshape(1, -1)
    made = np.zeros((len(lines), 1 + lines.shape[1]), np.uint8)
    left = _filter_repeats(lines, top, filters, made)
    padded = np.zeros((_BAND + 1, 3 + lines.shape[1]), np.uint8)
    for y in range(0, len(lines), _BAND):
        rows = y + np.flatnonzero(left[y : y + _BAND])
        if len(rows):
            first, end = rows[0], rows[-1] + 1
            band = padded[: 1 + end - first]
            band[0, 3:], band[1:, 3:] = lines[first - 1] if first else top[0], lines[first:end]
            _filter_band(band, filters, made[first:end])
    return made


def _filter_repeats(lines: U8, top: U8, filters: tuple[int, ...], made: U8) -> NDArray[np.bool_]:
    """Write the types of rows that equal the row above, whose differences are all 0; return which rows are left.

    Of such a row the filters "up" and Paeth leave nothing, and no other filter does, unless it is black.
    """
    if not {UP, PAETH}.intersection(filters):
        return np.ones(len(lines), np.bool_)
    left = np.concatenate([differ(lines[:1], top), differ(lines[1:], lines[:-1])])
    repeats = np.flatnonzero(~left)
    made[repeats, 0] = next(kind for kind in filters if kind in (UP, PAETH))
    same_as = np.maximum.accumulate(np.where(left, np.arange(len(lines)), 0))[repeats]
    rows, place = np.unique(same_as, return_inverse=True)
    black = lines[rows].max(axis=1) == 0
    made[repeats[black[place]], 0] = filters[0]
    return left


def _filter_band(padded: U8, filters: tuple[int, ...], made: U8) -> None:
    here, left, above, corner = padded[1:, 3:], padded[1:, :-3], padded[:-1, 3:], padded[:-1, :-3]
    differences = [_DIFFERENCES[kind](here, left, above, corner) for kind in filters]
    best = np.argmin([_weight(difference) for difference in differences], axis=0)
    made[:, 0] = np.array(filters, np.uint8)[best]
    for i, difference in enumerate(differences):
        chosen = np.flatnonzero(best == i)
        if len(chosen) == len(best):
            made[:, 1:] = difference
        elif len(chosen):
            made[chosen, 1:] = difference[chosen]


def _weight(differences: U8) -> NDArray[np.uint32]:
    """Return each row's sum of absolute differences. The magnitude of -128 is 128 once read as unsigned again."""
    magnitudes = np.abs(differences.view(np.int8)).view(np.uint8)
    weights: NDArray[np.uint32] = magnitudes.sum(axis=1, dtype=np.uint32)
    return weights


def _none(here: U8, left: U8, above: U8, corner: U8) -> U8:
    return np.ascontiguousarray(here)


def _sub(here: U8, left: U8, above: U8, corner: U8) -> U8:
    return here - left


def _up(here: U8, left: U8, above: U8, corner: U8) -> U8:
    return here - above


def _average(here: U8, left: U8, above: U8, corner: U8) -> U8:
    """Subtract floor((left + above) / 2), computed within 8 bits: the bits that both have, and half of the others."""
    return here - ((left & above) + ((left ^ above) >> 1))


def _paeth(here: U8, left: U8, above: U8, corner: U8) -> U8:
    """Subtract the Paeth predictor (9.4), computed within 8 bits.

    The distances of p = left + above - corner are pa = |above - corner| and pb = |left - corner|. Where left and above
    lie on two sides of corner, pc = |pa - pb|. Where they lie on one side, pc = pa + pb, which is never the only least.
    """
    pa, pb = _apart(above, corner), _apart(left, corner)
    least = np.minimum(pa, pb)
    two_sides = (left >= corner) != (above >= corner)
    take_corner = two_sides & (np.maximum(pa, pb) - least < least)
    nearer = _where(pa <= pb, left, above)
    return here - _where(take_corner, corner, nearer)


def _apart(a: U8, b: U8) -> U8:
    apart: U8 = np.maximum(a, b) - np.minimum(a, b)
    return apart


def _where(choice: NDArray[np.bool_], a: U8, b: U8) -> U8:
    """Return np.where(choice, a, b), computed by bits.

    It takes the same time on any picture; on a grainy one that is a third of np.where's.
    """
    mask = -choice.view(np.uint8)
    return b ^ ((a ^ b) & mask)


_DIFFERENCES: dict[int, Callable[[U8, U8, U8, U8], U8]] = {
    NONE: _none,
    SUB: _sub,
    UP: _up,
    AVERAGE: _average,
    PAETH: _paeth,
}
