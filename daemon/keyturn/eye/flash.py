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

Two areas that flash in turn, three times each, are therefore judged by the size of each. Where each is larger than a
quarter of a field, the window holds six general flashes and none is small: (b) fails them, since the criterion's first
condition is 'no more than three general flashes ... within any one-second period'. Where neither is, they pass, even if
the two together are larger: no place flashes more than three times, and each flash that occurs is small.

General and red flashes are counted separately, and their areas are combined, as the criterion says. A window is half
open and one second long: transitions exactly a second apart do not share one, so six a second are never more than
six, however long they go on. A fine pattern is exempt: see `luminance.cells` and `noise`.

The meter judges cells of 0.1 degree. Where they leave a stretch of time open (`undecided`), pixels are counted in it
(`close_look`); `flash_check` does both.
This is a screening aid, not a medical clearance.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import area, transitions
from keyturn.eye.flash_counts import Findings, FlashCounts, settled
from keyturn.eye.luminance import FULL, relative_luminance
from keyturn.eye.noise import white_noise
from keyturn.eye.repeats import Repeats
from keyturn.eye.screen import Screen
from keyturn.eye.transition_count import TransitionCount
from keyturn.eye.undecided import Stretch, Undecided
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

F32 = NDArray[np.float32]

MIXED = 20
"""A picture can be noise only where more than one transition in so many goes the rarer way: noise brightens and darkens
at once."""


class FlashMeter:
    """Judges pictures as they are shown, one by one, by their cells.

    What it keeps of each cell does not grow with the job. The rolling window keeps one bit a cell and picture for one
    second, and the chart three numbers a second.
    """

    def __init__(self, screen: Screen, rules: rulebook.Flash) -> None:
        self._screen, self._rules = screen, rules
        fields = area.Fields(screen, rules.field_share)
        self._luminance, self._redness = transitions.Luminance(rules), transitions.Red(rules)
        self._general, self._red = (TransitionCount(screen.shape, fields, rules.most_per_second) for _ in range(2))
        self._counts = FlashCounts(fields, self._general, self._red)
        self._undecided = Undecided(screen, rules) if screen.cell_px > 1 else None  # a cell of one pixel is exact
        self._shape = screen.shape
        self._shown: NDArray[np.uint16] | None = None
        self._planes = np.zeros((4, *self._shape), np.float32)  # of red, green, blue and their relative luminance
        self._change = np.zeros(self._shape, np.float32)
        self._at_s = -math.inf
        self._repeats = Repeats()

    def show(self, cells: NDArray[np.uint16], at_s: float, seam: Hashable | None = None) -> None:
        """Take the cells of one picture (see `luminance.cells`) and the time at which it appears, in seconds.

        `seam` is a name where a play begins that shows what the play did that began at the last seam of this name.
        Raise `ValueError` where the cells are not this screen's or time runs backwards.
        """
        if cells.shape != (*self._shape, 3):
            raise ValueError(f"cells of shape {cells.shape} are not those of a screen of {self._shape}")
        if at_s < self._at_s:
            raise ValueError(f"a picture at {at_s} s cannot follow one at {self._at_s} s")
        self._at_s = at_s
        box = self._note_changes(cells, at_s)
        if seam is not None:
            self._repeats.begin(seam, self._state)
        pairs = self._repeats.known(self._shape)
        if pairs is None:
            pairs = self._transitions(box)
            self._repeats.note(pairs)
        to_and_from_red, general, *doubtful = pairs
        changed = self._general.add(at_s, general)
        changed |= self._red.add(at_s, to_and_from_red)
        if changed:
            self._counts.judge(at_s)
        if self._undecided:
            self._undecided.note(at_s, doubtful[0], to_and_from_red)

    def _transitions(self, box: area.CellBox) -> list[transitions.Pair]:
        """Return the changes to and from red, the transitions of luminance, and those that pixels may have made.

        Only cells of the box differ from the picture before: the last of a play that repeats is the one before it.
        """
        red, green, blue, light = self._planes
        pairs = [self._luminance.step(light, box)]
        if self._undecided:
            pairs = _without_noise([*pairs, self._undecided.step(light, box)], self._change, self._rules.cell_deg)
        return [self._redness.step((red, green, blue), box), *pairs]

    def _state(self) -> Iterator[NDArray[Any]]:
        """Yield all that the transitions of this and coming pictures depend on, but for those pictures."""
        yield self._change
        yield from self._luminance.state()
        yield from self._redness.state()
        if self._undecided:
            yield from self._undecided.state()

    def undecided(self) -> list[Stretch]:
        """Return the stretches of time in which pixels have to be counted (see `close_look`)."""
        return self._undecided.stretches() if self._undecided else []

    def report(self, close: Sequence[Findings] = ()) -> FlashRecord:
        """Return what was found over all pictures shown so far.

        `close` are the findings of a close look at each stretch that was undecided. Without them the areas are those
        that cells let one expect.
        """
        found, most = self._counts.findings(), self._rules.most_per_second
        return (settled(found, close, most) if close else found).record(most)

    def _note_changes(self, cells: NDArray[np.uint16], at_s: float) -> area.CellBox:
        """Note the picture and how it differs from the one before; return the box of the cells that do."""
        before = self._shown
        box = area.WHOLE if before is None else _differing(cells, before)
        if before is None:
            self._shown = cells.copy()
        else:
            before[box] = cells[box]
        kept = self._planes[:, *box]
        now = np.empty_like(kept)
        for channel in range(3):
            now[channel] = cells[*box, channel]
        now[3] = relative_luminance(now[0], now[1], now[2]) / np.float32(FULL)
        change = now - kept
        kept[...] = now
        self._change = np.zeros(self._shape, np.float32)
        if before is not None:
            self._change[box] = change[3]
            red, green, blue, light = np.abs(change, out=change)
            self._general.note_change(light, at_s, box)
            red += green
            red += blue
            self._red.note_change(red, at_s, box)
        return box


def _differing(cells: NDArray[np.uint16], others: NDArray[np.uint16]) -> area.CellBox:
    """Return the box of the cells (rows, cols, 3) that differ from the `others`; an empty one where none does."""
    red, green, blue = np.moveaxis(cells != others, 2, 0)
    if (box := area.box_around(red | green | blue, 0)) is None:
        return slice(0, 0), slice(0, 0)
    down, across = box
    if 2 * (across.stop - across.start) > cells.shape[1]:  # whole rows lie in one piece, which is quicker to work on
        across = slice(0, cells.shape[1])
    return down, across


def _without_noise(pairs: list[transitions.Pair], change: F32, cell_deg: float) -> list[transitions.Pair]:
    """Leave out the transitions where the `change` of the picture belongs to a fine, balanced pattern."""
    mixed = [_is_mixed(pair) for pair in pairs]
    if not any(mixed):
        return pairs
    among = np.logical_or.reduce([side for pair, yes in zip(pairs, mixed, strict=True) if yes for side in pair])
    coarse = ~white_noise(change, round(0.5 / cell_deg), among)
    return [(pair[0] & coarse, pair[1] & coarse) if yes else pair for pair, yes in zip(pairs, mixed, strict=True)]


def _is_mixed(pair: transitions.Pair) -> bool:
    rises, falls = (int(np.count_nonzero(side)) for side in pair)
    return min(rises, falls) * MIXED > rises + falls
