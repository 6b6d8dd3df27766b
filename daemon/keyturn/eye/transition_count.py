"""How many transitions of one kind fall into one second, over more than the allowed area.

The two readings of WCAG 2.2 that are counted here, by place and by moment, are explained in `flash`.
"""

from __future__ import annotations

import itertools
import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.area import WHOLE, Area, CellBox, Fields
from keyturn.eye.transitions import Pair

F32 = NDArray[np.float32]
I8 = NDArray[np.int8]
Bits = NDArray[np.bool_]

WINDOW_S = 1.0
TICK_S = 1e-6
"""Times are sums of frame lengths. A time this near to a window's edge is on the edge."""


class Tally:
    """How many transitions each place made within the window that ends now."""

    def __init__(self, shape: tuple[int, ...]) -> None:
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

    def since(self, at_s: float) -> Bits:
        """Return the places of the transitions after `at_s`, which is not longer ago than a window."""
        places = itertools.takewhile(lambda each: each[0] > at_s, reversed(self._recent))
        packed = np.bitwise_or.reduce([np.zeros((self.counts.size + 7) // 8, np.uint8), *(each for _, each in places)])
        found: Bits = np.unpackbits(packed, count=self.counts.size).reshape(self.counts.shape).view(np.bool_)
        return found


class Flashing(Tally):
    """A tally that also knows which places flash now: their last transition is no older than a flash may last."""

    def __init__(self, shape: tuple[int, ...], most_per_second: int) -> None:
        super().__init__(shape)
        self._lasts_s = WINDOW_S / max(1, most_per_second)
        self._now: tuple[float, Bits] | None = None

    def add(self, at_s: float, places: Bits) -> None:
        super().add(at_s, places)
        self._now = None

    def now(self, at_s: float, count: int) -> Bits:
        """Return the places that flash at `at_s` with `count` transitions a window or more."""
        if self._now is None or self._now[0] != at_s:
            self._now = at_s, self.since(at_s - self._lasts_s - TICK_S)
        enough: Bits = (self.counts >= count) & self._now[1]
        return enough


def turns(direction: I8, rise: Bits, fall: Bits) -> Bits:
    """Return where a rise follows no rise or a fall no fall, and note each place's new direction."""
    if not (rise.any() or fall.any()):
        return rise
    up = rise & (direction <= 0)
    down = fall & (direction >= 0) & ~up
    np.copyto(direction, 1, where=up, casting="unsafe")
    np.copyto(direction, -1, where=down, casting="unsafe")
    turned: Bits = up | down
    return turned


class TransitionCount:
    """Transitions of one kind of flash, general or red, counted by place and by moment.

    `now` is the greatest count that holds over more than the limit of some field at the last picture judged, `most`
    the greatest so far, `failing` the least that fails. `share` is the largest share of a field seen to make as many
    transitions as fail.
    """

    def __init__(self, shape: tuple[int, int], fields: Fields, most_per_second: int) -> None:
        self._fields = fields
        self.failing = 2 * most_per_second + 1
        self._cells, self._moments = Flashing(shape, most_per_second), Tally(fields.shape)
        self._direction = np.zeros(fields.shape, np.int8)
        self._change, self._change_before, self._change_from_s = (*np.zeros((2, *shape), np.float32), -math.inf)
        self._nothing = np.zeros(shape, np.float32)
        self.now = self.most = 0
        self.share = self._moment_share = 0.0
        self._most_cells = 0

    def note_change(self, change: F32, at_s: float, box: CellBox = WHOLE) -> None:
        """Remember how much each cell of the box changed from the picture before; the others did not."""
        if at_s - self._change_from_s >= WINDOW_S:
            self._change_before, self._change = self._change, np.zeros_like(self._change)
            self._change_from_s = at_s
        np.maximum(self._change[box], change, out=self._change[box])

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
        large = [self._fields.may_exceed(side) for side in pair]
        if any(large):
            areas = (self._covered(side) if may else self._nothing for side, may in zip(pair, large, strict=True))
            self._add_moment(at_s, *areas)
        return True

    def _add_moment(self, at_s: float, rising: Area, falling: Area) -> None:
        """Count a transition of each field of which more than the limit rose or fell, rises and falls in turn."""
        turned = turns(self._direction, *(self._large(area) for area in (rising, falling)))
        if turned.any():
            self._moments.add(at_s, turned)

    def _large(self, area: Area) -> Bits:
        """Return the positions of the field of which `area` covers more than the limit."""
        large, share = self._fields.large_and_largest(area)
        self._moment_share = share or self._moment_share
        return large

    def _covered(self, cells: Bits) -> F32:
        """Return the area, in pixels, that `cells` stand for."""
        if not cells.any():
            return self._nothing
        return self._fields.covered(cells, self.swing)

    def area(self, at_s: float, count: int = 0) -> Area:
        """Return the area, in pixels, that flashes now with `count` transitions or more; 0 is as many as fail."""
        return self._covered(self._cells.now(at_s, count or self.failing))

    def flashing_at(self, at_s: float) -> bool:
        """Tell whether any cell flashes now with as many transitions as fail."""
        return self._possible() >= self.failing and bool(self._cells.now(at_s, self.failing).any())

    def judge(self, at_s: float) -> None:
        """Set `now` and `most` for the moment `at_s`."""
        self._forget(at_s)
        most = self._possible()
        now = min(self.now, most)
        while now < most and self._holds(at_s, now + 1):
            now += 1
        while now and not self._holds(at_s, now):
            now -= 1
        moments = int(self._moments.counts.max())
        if most >= self.failing:
            self._note_share(self._cells.now(at_s, self.failing))
        if moments >= self.failing:
            self.share = max(self.share, self._moment_share)
        self.now = max(now, moments)
        self.most = max(self.most, self.now)

    def _note_share(self, cells: Bits) -> None:
        """Note the share of a field that `cells` cover, where they are more than ever before."""
        number = int(np.count_nonzero(cells))
        if number > self._most_cells:
            self._most_cells = number
            self.share = max(self.share, self._fields.largest(self._covered(cells)))

    def _forget(self, at_s: float) -> None:
        self._moments.forget(at_s)
        self._cells.forget(at_s)

    def _possible(self) -> int:
        """Return the most transitions that any cell made."""
        return int(self._cells.counts.max())

    def fail(self, share: float) -> None:
        """Count as many transitions as fail, where only this kind and the other together cover `share` of a field."""
        self.share = max(self.share, share)
        self.now = max(self.now, self.failing)
        self.most = max(self.most, self.now)

    def _holds(self, at_s: float, count: int) -> bool:
        """Tell whether cells with `count` transitions or more cover more than the limit of some field."""
        cells = self._cells.now(at_s, count)
        return self._fields.may_exceed(cells) and self._fields.exceeds(self._covered(cells))
