"""Find the screen in a film frame by its finder marks, wherever it is and whichever way up.

Any four marks that do not lie in a line say how the screen lies; it is found where the code can then be read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from keyturn.calibrate import homography, mark_finding
from keyturn.calibrate.code_layout import CodeLayout
from keyturn.calibrate.code_reading import CodeRead, CodeReader
from keyturn.calibrate.mark_finding import Candidate, Grey

F64 = NDArray[np.float64]

MOST_MARKS = 12
"""So many of the likest places are tried as marks: 495 sets of four."""

TRIED = 60
"""So many of the likest ways of lying are looked at closely."""

_SIDES = ((0, 2, 4), (1, 3, 5))
"""The marks on the left and on the right, from the top down, as `CodeLayout.marks` counts them."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """Where the screen is: `screen` takes the panel's px to those of the film. And what its code says."""

    screen: F64
    read: CodeRead


class ScreenFinder:
    """Finds the screen of a panel with this layout."""

    def __init__(self, layout: CodeLayout, reader: CodeReader) -> None:
        self._layout, self._reader = layout, reader
        pairs = [combinations(side, 2) for side in _SIDES]
        fours = [(left[0], right[0], right[1], left[1]) for left, right in product(*pairs)]
        self._fours = np.array(fours)  # (9, 4): two on the left, two on the right, clockwise from the upper left

    def find(self, grey: Grey, surely: float) -> Sighting | None:
        """Return the screen whose code is read with at least the confidence `surely`, else None."""
        near = self._found(grey, mark_finding.candidates(grey, MOST_MARKS, mark_finding.SMALL), surely)
        return near or self._found(grey, mark_finding.candidates(grey, MOST_MARKS), surely)

    def _found(self, grey: Grey, marks: Sequence[Candidate], surely: float) -> Sighting | None:
        screens = self._ways_to_lie(marks)
        if not len(screens):
            return None
        bits = self._reader.clearness(grey, screens)
        likest = np.argsort(-np.minimum(np.abs(bits), 2.0).sum(axis=-1))[:TRIED]
        best: Sighting | None = None
        for number in likest:
            read = self._reader.read(grey, screens[number])
            if read and read.confidence >= surely and (best is None or read.confidence > best.read.confidence):
                best = Sighting(screens[number], read)
        return best

    def _ways_to_lie(self, found: Sequence[Candidate]) -> F64:
        """(k, 3, 3): each homography that takes four marks to four candidates of the right size."""
        if len(found) < 4:
            return np.empty((0, 3, 3))
        places = np.array([(c.x, c.y) for c in found])
        sides = np.array([c.side for c in found])
        sets = np.array(list(combinations(range(len(found)), 4)))
        largest, smallest = sides[sets].max(axis=1), sides[sets].min(axis=1)
        sets = _clockwise(places, sets[largest < 2.6 * smallest])
        turned = np.concatenate([np.roll(sets, by, axis=1) for by in range(4)])
        marks = np.tile(self._fours, (len(turned), 1))
        used = np.repeat(turned, len(self._fours), axis=0)
        points, seen = self._layout.marks[marks], places[used]
        keep = _convex(seen)
        points, seen, used = points[keep], seen[keep], used[keep]
        if not len(points):
            return np.empty((0, 3, 3))
        screens = homography.of_four(points, seen)
        return screens[self._sized(screens, points, sides[used])]

    def _sized(self, screens: F64, points: F64, sides: F64) -> NDArray[np.bool_]:
        """Whether each mark comes out as large as it was seen, and neither side of it far shorter than the other."""
        half = self._layout.mark_px / 2
        ends = [
            homography.through(screens, points + half * np.array(step)) for step in ((-1, 0), (1, 0), (0, -1), (0, 1))
        ]
        wide, tall = (np.linalg.norm(ends[i + 1] - ends[i], axis=-1) for i in (0, 2))
        with np.errstate(divide="ignore", invalid="ignore"):
            size, shape = np.sqrt(wide * tall) / sides, wide / tall
        return np.asarray(((size > 0.7) & (size < 1.4) & (shape > 0.45) & (shape < 2.2)).all(axis=-1))


def _clockwise(places: F64, sets: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the sets of four with their members clockwise around their middle, beginning at the upper left."""
    around = places[sets] - places[sets].mean(axis=1, keepdims=True)
    order = np.argsort(np.arctan2(around[..., 1], around[..., 0]), axis=1)
    return np.asarray(np.take_along_axis(sets, order, axis=1))


def _convex(four: F64) -> NDArray[np.bool_]:
    """Whether the corners (k, 4, 2) go round clockwise without a dent."""
    edges = np.roll(four, -1, axis=1) - four
    after = np.roll(edges, -1, axis=1)
    turn = edges[..., 0] * after[..., 1] - edges[..., 1] * after[..., 0]
    return np.asarray((turn > 0).all(axis=1))
