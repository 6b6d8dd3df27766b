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

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import area, transitions
from keyturn.eye.luminance import FULL, relative_luminance
from keyturn.eye.screen import Screen
from keyturn.eye.transition_count import TICK_S, TransitionCount
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

F32 = NDArray[np.float32]

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
        self._general = TransitionCount(screen.shape, self._fields, rules.most_per_second)
        self._red = TransitionCount(screen.shape, self._fields, rules.most_per_second)
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
