"""How much of the movement in a piece of art lies outside a crop, and where the crop would keep most of it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.cielab import lab

F64 = NDArray[np.float64]

MOVES = 6.0
"""A square of a small picture has moved where its colour changed by more than this, in CIE76 units.

JPEG of quality 50 rounds the mean of a block to steps of 2 in luma and 2.1 in chroma (ITU-T T.81, annex K, tables K.1
and K.2: 16 and 17 over 8), so each picture is off by half a step at most. Noise is averaged over the pixels of a
square. Two such pictures of one scene stay below 5 units (tests/eye/test_cropped.py); a moving thing is far above.
"""

WHOLE = 0.5
"""Where more of a picture than this share changes at once, the light or the scene changes and nothing moves from place
to place: a fade, a dissolve, a cut. Keyturn's own choice."""

Window = tuple[float, float, float, float]
"""left, top, right, bottom in shares of the art."""


def movement(pictures: Sequence[NDArray[np.uint8]]) -> F64:
    """Return how often each square changed, (H, W), from one of two or more `pictures` to the next; sRGB (H, W, 3)."""
    moved = np.zeros(pictures[0].shape[:2])
    for before, after in itertools.pairwise(map(lab, pictures)):
        changed = ((after - before) ** 2).sum(-1) > MOVES**2
        if changed.mean() <= WHOLE:
            moved += changed
    return moved


def outside(moved: F64, window: Window) -> float:
    """Return the share of all movement outside the window, 0 where nothing moves. Squares on its edge count in part."""
    whole = moved.sum()
    left, top, right, bottom = window
    high, wide = moved.shape
    kept = _cover(high, top, bottom) @ moved @ _cover(wide, left, right)
    return float(1 - kept / whole) if whole > 0 else 0.0


def _cover(length: int, low: float, high: float) -> F64:
    """Return how much of each of `length` squares in a row lies between two shares of the row's length."""
    edges = np.arange(length + 1)
    cover: F64 = np.clip(np.minimum(edges[1:], high * length) - np.maximum(edges[:-1], low * length), 0, 1)
    return cover


@dataclass(frozen=True, slots=True)
class Axis:
    """Movement along one side of the art, summed over the other, and the share of that side that a crop keeps."""

    moved: F64
    keep: float

    def kept(self, focus: float) -> float:
        """Return how much movement lies within the crop whose middle is as near to `focus` as the art allows."""
        start = min(max(focus - self.keep / 2, 0.0), 1 - self.keep)
        return float(_cover(len(self.moved), start, start + self.keep) @ self.moved)


def best_focus(axes: Sequence[Axis]) -> float:
    """Return the focus, 0 to 1, at which crops with that one focus keep most of the movement on all `axes` together.

    What is kept is piecewise linear in the focus. It bends only where an edge of a crop meets the edge of a square or
    of the art, so one of those places is the best there is. Of several that are equally good, it is the middle of
    their range where that is as good too, else the first.
    """
    places = np.unique(np.concatenate([_bends(axis) for axis in axes]))
    kept = np.array([sum(axis.kept(float(focus)) for axis in axes) for focus in places])
    best = places[kept >= kept.max() - 1e-9 * max(1.0, kept.max())]
    middle = float(best[0] + best[-1]) / 2
    alike = sum(axis.kept(middle) for axis in axes) >= kept.max() * (1 - 1e-9)
    return middle if alike else float(best[0])


def _bends(axis: Axis) -> F64:
    """Return the focuses at which an edge of the crop meets the edge of a square or of the art."""
    edges = np.linspace(0, 1, len(axis.moved) + 1)
    half = axis.keep / 2
    bends: F64 = np.clip(np.concatenate([edges - half, edges + half]), half, 1 - half)
    return bends
