"""The flash check: WCAG 2.2, success criterion 2.3.1, over pictures in the order and time they are shown.

The criterion passes content with at most three general and three red flashes in every one-second window, or where
'the combined area of flashes occurring concurrently' is at most a quarter of any 10-degree field. A flash is a pair
of opposing transitions. Technique G19 fails seven transitions in a second and passes six. The criterion leaves open
what 'concurrently' means where a picture does not flash as a whole. Two readings are applied, and content must pass
both:

(a) *By place.* A cell flashes too often when seven of its own transitions fall into one window. It is flashing now
    while its last transition is no older than a flash may last at that rate, a third of a second. The cells flashing
    now must not cover more than a quarter of a field. They need not turn bright at the same picture: an eye sees
    areas that flicker in turn, or out of step, all at once. Places that a moving, flickering box has left are not
    flashing any more.
(b) *By moment.* Where more than a quarter of a field makes a transition of one direction at one picture, the field as
    a whole makes a transition. Seven of these, of alternating direction, in one window fail even if each is made by
    another part of the field (left half, right half, left half ...): the window then holds more than three flashes,
    and each is large enough by itself. Small areas sweeping past are not added up over time: a box that slides across
    the picture is no flash.

General and red flashes are counted separately, and their areas are combined, as the criterion says. A window is half
open and one second long: transitions exactly a second apart do not share one, so six a second are never more than
six, however long they go on. A fine pattern is exempt: see `luminance.cells` and `area.white_noise`.
This is a screening aid, not a medical clearance.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import area, transitions
from keyturn.eye.luminance import FULL, Screen, relative_luminance
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

F32 = NDArray[np.float32]
Bits = NDArray[np.bool_]

WINDOW_S = 1.0
TICK_S = 1e-6
"""Times are sums of frame lengths. A time this near to a window's edge is on the edge."""

MIXED = 20
"""A picture can be noise only where more than one transition in so many goes the rarer way: noise brightens and darkens
at once."""


class FlashMeter:
    """Judges pictures as they are shown, one by one.

    What it keeps of each cell does not grow with the job. The rolling window keeps one bit a cell and picture for one
    second, and the chart three numbers a second.
    """

    def __init__(self, screen: Screen, rules: rulebook.Flash) -> None:
        self._screen, self._rules = screen, rules
        self._fields = area.Fields(screen, rules.field_share)
        self._luminance, self._redness = transitions.Luminance(rules), transitions.Red(rules)
        self._general = _Count(screen.shape, self._fields, rules.most_per_second)
        self._red = _Count(screen.shape, self._fields, rules.most_per_second)
        self._before: tuple[F32, F32, F32, F32] | None = None
        self._at_s = -math.inf
        self._worst, self._worst_at_s = 0, 0.0
        self._chart: dict[int, tuple[int, int]] = {}

    def show(self, cells: NDArray[np.uint16], at_s: float) -> None:
        """Take the cells of one picture (see `luminance.cells`) and the time at which it appears, in seconds.

        Raise `ValueError` where the cells are not this screen's or time runs backwards.
        """
        if cells.shape != (*self._screen.shape, 3):
            raise ValueError(f"cells of shape {cells.shape} are not those of a screen of {self._screen.shape}")
        if at_s < self._at_s:
            raise ValueError(f"a picture at {at_s} s cannot follow one at {self._at_s} s")
        red, green, blue = (np.ascontiguousarray(cells[..., i], np.float32) for i in range(3))
        light = relative_luminance(red, green, blue) / np.float32(FULL)
        self._note_changes((red, green, blue, light), at_s)
        general, to_and_from_red = self._luminance.step(light), self._redness.step((red, green, blue))
        self._at_s = at_s
        changed = self._general.add(at_s, self._without_noise(general))
        changed |= self._red.add(at_s, to_and_from_red)
        self._before = (red, green, blue, light)
        if changed:
            self._judge(at_s)

    def report(self) -> FlashRecord:
        """Return what was found over all pictures shown so far."""
        general, red = self._general.most, self._red.most
        most = 2 * self._rules.most_per_second
        return FlashRecord(
            passes=general <= most and red <= most,
            general_max_per_s=flashes(general),
            red_max_per_s=flashes(red),
            most_per_s=self._rules.most_per_second,
            worst_at_s=self._worst_at_s,
            per_second=tuple((float(s), flashes(g), flashes(r)) for s, (g, r) in sorted(self._chart.items())),
        )

    def _note_changes(self, now: tuple[F32, F32, F32, F32], at_s: float) -> None:
        if self._before is None:
            self._change = np.zeros(self._screen.shape, np.float32)
            return
        red, green, blue, self._change = (new - old for new, old in zip(now, self._before, strict=True))
        self._general.note_change(np.abs(self._change), at_s)
        self._red.note_change(np.abs(red) + np.abs(green) + np.abs(blue), at_s)

    def _without_noise(self, pair: transitions.Pair) -> transitions.Pair:
        """Leave out the transitions that belong to a fine, balanced pattern."""
        rises, falls = (int(np.count_nonzero(side)) for side in pair)
        mixed = min(rises, falls) * MIXED > rises + falls
        if not mixed or self._screen.cell_px <= 1:  # a cell of one pixel holds nothing finer than itself
            return pair
        coarse = ~area.white_noise(self._change, round(0.5 / self._rules.cell_deg))
        return pair[0] & coarse, pair[1] & coarse

    def _judge(self, at_s: float) -> None:
        self._general.judge(at_s)
        self._red.judge(at_s)
        if self._general.now < self._general.failing and self._red.now < self._red.failing:
            self._judge_together(at_s)
        count = max(self._general.now, self._red.now)
        if flashes(count) > flashes(self._worst):
            self._worst, self._worst_at_s = count, at_s
        second = math.floor(at_s + TICK_S)
        general, red = self._chart.get(second, (0, 0))
        self._chart[second] = max(general, self._general.now), max(red, self._red.now)

    def _judge_together(self, at_s: float) -> None:
        """Fail general flashes here and red ones there whose areas are too large together, though not each alone."""
        general, red = self._general.flashing(at_s), self._red.flashing(at_s)
        if not (general.any() and red.any()):
            return
        covered = np.maximum(
            self._fields.covered(general, self._general.swing), self._fields.covered(red, self._red.swing)
        )
        if float(self._fields.shares(covered).max()) > self._fields.share_limit:
            self._general.fail()
            self._red.fail()


def flashes(transitions_made: int) -> int:
    """Return the flashes in a number of transitions: pairs, and an odd one counts as the flash it begins.

    Six transitions are 3 flashes, seven are 4. A lone transition is none.
    """
    return 0 if transitions_made < 2 else (transitions_made + 1) // 2


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


class _Count:
    """Transitions of one kind of flash, general or red, counted by place and by moment.

    `now` is the greatest count that holds over more than the limit of some field at the last picture judged, `most`
    the greatest so far, `failing` the least that fails.
    """

    def __init__(self, shape: tuple[int, int], fields: area.Fields, most_per_second: int) -> None:
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

    def add(self, at_s: float, pair: transitions.Pair) -> bool:
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
