"""Which stretches of time cells cannot decide: where pixels may flash too often, over more than the allowed area.

A cell holds the mean light of its pixels. Where it is cut by the border of a flashing area, or holds a pattern little
coarser than itself, its swing is smaller than that of its pixels. So here every cell counts whole that swings by half
the threshold, and every cell beside it: a stripe as wide as a cell fills more than half of one. What stays below the
limit even so passes. All else is counted in pixels (`close_look`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.area import EXACT, WHOLE, CellBox, any_around, box_around
from keyturn.eye.screen import Screen
from keyturn.eye.transition_count import Flashing, Tally, turns
from keyturn.eye.transitions import Luminance, Pair
from keyturn.eye.window_sums import window_counts, window_sums
from keyturn.shop import rulebook

F32 = NDArray[np.float32]
Bits = NDArray[np.bool_]

BEFORE_S = 2.0
"""A close look begins so long before the moment in doubt: the second that counts, and one to know the state before."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time to be looked at closely, the cells concerned, and whether any of them changes to a red."""

    from_s: float
    until_s: float
    box: CellBox
    red: bool


class Undecided:
    """Collects the stretches that cells cannot decide."""

    def __init__(self, screen: Screen, rules: rulebook.Flash) -> None:
        smaller = {"luminance_step": rules.luminance_step / 2, "darker_below": math.inf}
        self._luminance = Luminance(rules.model_copy(update=smaller))
        self._failing = 2 * rules.most_per_second + 1
        self._kinds = [_Kind(screen, rules) for _ in ("general", "red")]
        self._found: list[tuple[float, float, Bits, bool]] = []

    def step(self, light: F32, box: CellBox = WHOLE) -> Pair:
        """Take one picture's relative luminance, new within `box`; return the cells that may rise, and fall."""
        return self._luminance.step(light, box)

    def state(self) -> tuple[NDArray[Any], ...]:
        """Return what the next result of `step` depends on."""
        return self._luminance.state()

    def note(self, at_s: float, general: Pair, red: Pair) -> None:
        """Count the transitions that pixels may have made."""
        for kind, pair in zip(self._kinds, (general, red), strict=True):
            kind.add(at_s, pair)
        doubtful = [kind.places.counts > 0 for kind in self._kinds if kind.moments.counts.max() >= self._failing]
        often = [kind.places.now(at_s, self._failing) for kind in self._kinds if kind.most >= self._failing]
        if often and self._kinds[0].exceeds(np.logical_or.reduce(often)):
            doubtful += often
        if doubtful:
            self._keep(at_s, np.logical_or.reduce(doubtful), red=self._kinds[1].most > 0)

    def _keep(self, at_s: float, cells: Bits, red: bool) -> None:
        from_s = at_s - BEFORE_S
        if self._found and from_s <= self._found[-1][1]:
            from_s, _, more, also = self._found.pop()
            cells, red = cells | more, red or also
        self._found.append((from_s, at_s, cells, red))

    def stretches(self) -> list[Stretch]:
        """Return the stretches found so far, in order of time; none touches another."""
        boxes = ((found, box_around(found[2], 1)) for found in self._found)
        return [Stretch(found[0], found[1], box, found[3]) for found, box in boxes if box]


class _Kind:
    """Cells that may make transitions of one kind, and the moments at which enough of a field may make one."""

    def __init__(self, screen: Screen, rules: rulebook.Flash) -> None:
        self._cell_area = screen.cell_area_px
        self._limit = rules.field_share * screen.field_area_px
        touched = (math.ceil(n - EXACT) + 1 for n in screen.field_cells)
        rows, cols = (min(n, most) for n, most in zip(touched, screen.shape, strict=True))
        self._window = rows, cols
        positions = screen.shape[0] - rows + 1, screen.shape[1] - cols + 1
        self.places, self.moments = Flashing(screen.shape, rules.most_per_second), Tally(positions)
        self._direction = np.zeros(positions, np.int8)
        self._nowhere = np.zeros(positions, np.bool_)

    @property
    def most(self) -> int:
        """The most transitions that any cell made within the window."""
        return int(self.places.counts.max())

    def add(self, at_s: float, pair: Pair) -> None:
        self.places.forget(at_s)
        self.moments.forget(at_s)
        if pair[0].any() or pair[1].any():
            self.places.add(at_s, pair[0] | pair[1])
            turned = turns(self._direction, *(self._large(side) for side in pair))
            if turned.any():
                self.moments.add(at_s, turned)

    def exceeds(self, cells: Bits) -> bool:
        return bool(self._large(cells).any())

    def _large(self, cells: Bits) -> Bits:
        """Return the positions of the field of which the cells and those beside them cover more than the limit."""
        whole = float(self._cell_area[0, 0])  # those of the last row and column may be smaller
        if np.count_nonzero(cells) * 9 * whole <= self._limit:
            return self._nowhere
        around = any_around(cells, beyond=False)
        if np.count_nonzero(around) * whole <= self._limit:
            return self._nowhere
        large: Bits = window_counts(around, self._window) * whole > self._limit
        if large[-1].any() or large[:, -1].any():
            large = window_sums(around * self._cell_area, self._window) > self._limit
        return large
