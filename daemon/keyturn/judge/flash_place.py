"""Where on the panel it flashes, and between which two pictures: shown to whoever has to mend it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import transitions
from keyturn.eye.flash_check import Picture
from keyturn.eye.luminance import FULL, planes, relative_luminance
from keyturn.eye.screen import Screen
from keyturn.judge.flash import CellsOf, NumberedPicture, PictureNumbers, players, shown
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Box, Exhibit, Exhibits
from keyturn.shop.rulebook import Flash

SECOND_S = 1.0
"""Flashes are counted within one second (WCAG 2.2, 2.3.1)."""

MOSTLY = 0.5
"""A cell belongs to the place where it changes at least so often as the one that changes most. Keyturn's own choice."""


@dataclass(frozen=True, slots=True)
class FlashPlace:
    """The two pictures, by number, between which most of the place changes, and the box around the place."""

    before: int
    after: int
    box: Box


@dataclass(frozen=True, slots=True)
class _Step:
    """From one picture to the next: which cells change by a transition of WCAG 2.2."""

    before: Picture
    after: Picture
    changed: NDArray[np.bool_]


def flash_place(
    plan: Plan, numbers: PictureNumbers, cells: CellsOf, rules: Flash, worst_at_s: float
) -> FlashPlace | None:
    """Return where it flashes within the second that ends at `worst_at_s`, on the player on which it does so most.

    Return None where cells show no place, as with flashes finer than a cell.
    """
    screen = Screen.of(plan.radio.panel, rules)
    every = [
        list(_steps(shown(plan, numbers, player, cells, None, screen), rules, worst_at_s)) for player in players(plan)
    ]
    steps = max(every, key=_changes, default=[])
    if not _changes(steps):
        return None
    counts = np.sum([step.changed for step in steps], axis=0)
    place = counts >= max(1, MOSTLY * counts.max())
    pairs = [
        (int((step.changed & place).sum()), before.number, after.number)
        for step in steps
        if isinstance(before := step.before, NumberedPicture) and isinstance(after := step.after, NumberedPicture)
    ]
    if not pairs:
        return None
    _, first, second = max(pairs, key=itemgetter(0))
    return FlashPlace(first, second, _box(place))


def flash_exhibits(plan: Plan, numbers: PictureNumbers, cells: CellsOf, rules: Flash, worst_at_s: float) -> Exhibits:
    """Return the two pictures between which it flashes with the place marked, called by the first frame that shows
    each; none where `flash_place` finds no place."""
    place = flash_place(plan, numbers, cells, rules, worst_at_s)
    if place is None:
        return ()
    radio = plan.radio.name
    names = {numbers.logo: f"{radio}: the logo"}
    for part, frames in reversed(list(enumerate(numbers.parts, start=1))):
        names |= {n: f"{radio}: part {part}, frame {frame}" for frame, n in reversed(list(enumerate(frames, start=1)))}
    return tuple(Exhibit(name=names[n], radio=radio, picture=n, marked=place.box) for n in (place.before, place.after))


def _changes(steps: list[_Step]) -> int:
    return sum(int(step.changed.sum()) for step in steps)


def _steps(pictures: Iterator[tuple[float, Picture]], rules: Flash, worst_at_s: float) -> Iterator[_Step]:
    luminance, red = transitions.Luminance(rules), transitions.Red(rules)
    standing: Picture | None = None
    for at_s, picture in pictures:
        if at_s > worst_at_s:
            return
        of_colours = planes(picture.cells())
        rise, fall = luminance.step(relative_luminance(*of_colours) / np.float32(FULL))
        to_red, from_red = red.step(of_colours)
        if standing is not None and at_s > worst_at_s - SECOND_S:
            yield _Step(standing, picture, rise | fall | to_red | from_red)
        standing = picture


def _box(place: NDArray[np.bool_]) -> Box:
    rows, columns = np.flatnonzero(place.any(axis=1)), np.flatnonzero(place.any(axis=0))
    high, wide = place.shape
    left, right = int(columns[0]) / wide, int(columns[-1] + 1) / wide
    top, bottom = int(rows[0]) / high, int(rows[-1] + 1) / high
    return left, top, right, bottom
