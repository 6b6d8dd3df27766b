"""Where a film frame has squares like the stick's finder marks, of any size.

The measure is the normalized cross-correlation with the drawn mark (Lewis 1995, "Fast Normalized Cross-Correlation"):
1 for a mark at any brightness and contrast. A mark is made of squares inside each other, so the sums over the mark come
from sums over boxes, and these from one table of running sums.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.uint8]

SMALLEST, SMALL, LARGEST = 10.0, 20.0, 0.22
"""Sides of the marks that are looked for: px of the film, and share of its height. Those below `SMALL` px take most of
the work, since a film is looked through enlarged for them."""

_SIDE = 15
"""Side of the mark in px at which pictures are looked through: three px a module."""

_BOXES = (21, 15, 9, 3)
"""With its dark surround, the ring's outer and inner edge, and the core."""

_STEP = 1.26
"""From one size to the next: a mark between two is 12 % off, which costs a tenth of the likeness."""

LIKE = 0.5
FLAT = 3.0
"""Standard deviation in levels below which there is nothing to see."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """What may be a mark: its middle and side in px of the film, and its likeness, up to 1."""

    x: float
    y: float
    side: float
    likeness: float


def candidates(grey: Grey, most: int, smallest: float = SMALLEST) -> list[Candidate]:
    """Return up to `most` places that look like a mark of a side of `smallest` px or more, the likest first."""
    found: list[Candidate] = []
    side = smallest * _STEP**0.5
    while side <= LARGEST * grey.shape[0]:
        found += _of_side(grey, side)
        side *= _STEP
    apart: list[Candidate] = []
    for each in sorted(found, key=lambda c: -c.likeness):
        if all(max(abs(each.x - c.x), abs(each.y - c.y)) > 0.6 * max(c.side, each.side) for c in apart):
            apart.append(each)
            if len(apart) == most:
                break
    return apart


def _of_side(grey: Grey, side: float) -> list[Candidate]:
    scale = _SIDE / side
    size = max(1, round(grey.shape[1] * scale)), max(1, round(grey.shape[0] * scale))
    if min(size) < _BOXES[0]:
        return []
    way = Image.Resampling.BOX if scale < 0.7 else Image.Resampling.BILINEAR
    small = np.asarray(Image.fromarray(grey).resize(size, way))
    like = _likeness(small)
    rows, columns = _peaks(like)
    across, down = grey.shape[1] / size[0], grey.shape[0] / size[1]
    half = _BOXES[0] / 2
    return [
        Candidate((x + half) * across, (y + half) * down, side, float(like[y, x]))
        for y, x in zip(rows.tolist(), columns.tolist(), strict=True)
    ]


def _likeness(small: Grey) -> NDArray[np.float32]:
    """Return the likeness at each place where a mark with its surround fits; [y, x] is the surround's corner."""
    light = small.astype(np.int64)
    sums, squares = _running_sums(light), _running_sums(light * light)
    outer, ring, gap, core = (_box_sums(sums, box) for box in _BOXES)
    area, bright = _BOXES[0] ** 2, _BOXES[1] ** 2 - _BOXES[2] ** 2 + _BOXES[3] ** 2
    product = ring - gap + core - np.float32(bright / area) * outer
    spread = _box_sums(squares, _BOXES[0]) - outer * outer / np.float32(area)
    spread = np.maximum(spread, np.float32(area * FLAT**2))
    return np.asarray(product / np.sqrt(spread * np.float32(bright * (1 - bright / area))), np.float32)


def _running_sums(light: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the sums over everything above and to the left of each corner of a pixel."""
    table = np.zeros((light.shape[0] + 1, light.shape[1] + 1), np.int64)
    np.cumsum(np.cumsum(light, axis=0), axis=1, out=table[1:, 1:])
    return table


def _box_sums(table: NDArray[np.int64], box: int) -> NDArray[np.float32]:
    """Return the sums over the boxes of this side in the middle of each of the largest boxes."""
    by = (_BOXES[0] - box) // 2
    tall, wide = table.shape[0] - _BOXES[0], table.shape[1] - _BOXES[0]
    top, foot = table[by : by + tall], table[by + box : by + box + tall]
    left, right = slice(by, by + wide), slice(by + box, by + box + wide)
    return (foot[:, right] - foot[:, left] - top[:, right] + top[:, left]).astype(np.float32)


def _peaks(like: NDArray[np.float32]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of what is above `LIKE` and not below any neighbour."""
    padded = np.pad(like, 1, constant_values=-1.0)
    centre = padded[1:-1, 1:-1]
    highest = centre > LIKE
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            if (dy, dx) != (0, 0):
                shape = like.shape
                highest &= centre >= padded[1 + dy : 1 + dy + shape[0], 1 + dx : 1 + dx + shape[1]]
    rows, columns = np.nonzero(highest)
    order = np.argsort(-like[rows, columns], kind="stable")[:200]
    return rows[order], columns[order]
