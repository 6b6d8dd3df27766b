"""How many transitions of one kind fall into one second, over more than the allowed area.

The two readings of WCAG 2.2 that are counted here, by place and by moment, are explained in `flash`.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.area import Fields
from keyturn.eye.transitions import Pair

F32 = NDArray[np.float32]
Bits = NDArray[np.bool_]

WINDOW_S = 1.0
TICK_S = 1e-6
"""Times are sums of frame lengths. A time this near to a window's edge is on the edge."""


class _Tally:
    """How many transitions each place made within the window that ends now."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self.counts = np.zeros(shape, np.int16)
        self._recent: deque[tuple[float, NDArray[np.uint8]]] = deque()

    def add(self, at_s: float, places: Bits) -> None:
        self.counts += places
        self._recent.append((at_s, np.packbits(places)))

    def forget(self, at_s: float) -> None:
        """Drop what lies a window or more before `at_s`."""
        while self._recent and self._recent[0][0] <= at_s - WINDOW_S + TICK_S:
            _, packed = self._recent.popleft()
            self.counts -= np.unpackbits(packed, count=self.counts.size).reshape(self.counts.shape)


class TransitionCount:
    """Transitions of one kind of flash, general or red, counted by place and by moment.

    `now` is the greatest count that holds over more than the limit of some field at the last picture judged, `most`
    the greatest so far, `failing` the least that fails.
    """

    def __init__(self, shape: tuple[int, int], fields: Fields, most_per_second: int) -> None:
        self._fields = fields
        self.failing = 2 * most_per_second + 1
        self._lasts_s = WINDOW_S / max(1, most_per_second)
        self._cells, self._moments = _Tally(shape), _Tally(fields.shape)
        self._last_s = np.full(shape, -np.inf)
        self._direction = np.zeros(fields.shape, np.int8)
        self._change, self._change_before, self._change_from_s = (*np.zeros((2, *shape), np.float32), -math.inf)
        self.now = self.most = 0

    def note_change(self, change: F32, at_s: float) -> None:
        """Remember how much each cell changed from the picture before."""
        if at_s - self._change_from_s >= WINDOW_S:
            self._change_before, self._change = self._change, np.zeros_like(change)
            self._change_from_s = at_s
        np.maximum(self._change, change, out=self._change)

    @property
    def swing(self) -> F32:
        """The largest change from one picture to the next that each cell made in the last second or two.

        In a fade as in a switch, cells covered in part change in proportion.
        """
        return np.maximum(self._change, self._change_before)

    def add(self, at_s: float, pair: Pair) -> bool:
        """Count the transitions of one picture; return False where there are none."""
        either = pair[0] | pair[1]
        if not either.any():
            return False
        self._cells.add(at_s, either)
        self._last_s[either] = at_s
        self._add_moment(at_s, *pair)
        return True

    def _add_moment(self, at_s: float, rise: Bits, fall: Bits) -> None:
        """Count a transition of each field of which more than the limit rose or fell, rises and falls in turn."""
        large = [self._large(side) for side in (rise, fall)]
        up = large[0] & (self._direction <= 0)
        down = large[1] & (self._direction >= 0) & ~up
        self._direction[up], self._direction[down] = 1, -1
        if up.any() or down.any():
            self._moments.add(at_s, up | down)

    def _large(self, cells: Bits) -> Bits:
        """Return the positions of the field of which `cells` cover more than the limit."""
        covered = self._fields.covered(cells, self.swing) if cells.any() else None
        if covered is None or not self._fields.exceeds(covered):
            return np.zeros(self._fields.shape, np.bool_)
        large: Bits = self._fields.shares(covered) > self._fields.share_limit
        return large

    def flashing(self, at_s: float, count: int = 0) -> Bits:
        """Return the cells flashing now with `count` transitions a window or more; 0 is as many as fail."""
        now = self._last_s > at_s - self._lasts_s - TICK_S
        enough: Bits = (self._cells.counts >= (count or self.failing)) & now
        return enough

    def judge(self, at_s: float) -> None:
        """Set `now` and `most` for the moment `at_s`."""
        self._moments.forget(at_s)
        self._cells.forget(at_s)
        most = int(self._cells.counts.max())
        now = min(self.now, most)
        while now < most and self._holds(at_s, now + 1):
            now += 1
        while now and not self._holds(at_s, now):
            now -= 1
        self.now = max(now, int(self._moments.counts.max()))
        self.most = max(self.most, self.now)

    def fail(self) -> None:
        """Count as many transitions as fail, where only this kind and the other together do."""
        self.now = max(self.now, self.failing)
        self.most = max(self.most, self.now)

    def _holds(self, at_s: float, count: int) -> bool:
        """Tell whether cells with `count` transitions or more cover more than the limit of some field."""
        return self._fields.exceeds(self._fields.covered(self.flashing(at_s, count), self.swing))
