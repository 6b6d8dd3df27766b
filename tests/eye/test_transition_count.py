"""Transitions counted by place and by moment, on a screen of 4 x 4 cells that is one field, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from keyturn.eye.area import Fields
from keyturn.eye.screen import Screen
from keyturn.eye.transition_count import TransitionCount

SHAPE = (4, 4)
NOWHERE = np.zeros(SHAPE, np.bool_)


def quarter(rows: slice, cols: slice) -> np.ndarray:
    cells = NOWHERE.copy()
    cells[rows, cols] = True
    return cells


LEFT, RIGHT = quarter(slice(None), slice(0, 2)), quarter(slice(None), slice(2, 4))
CORNER = quarter(slice(0, 2), slice(0, 2))
"""A quarter of the field, which is allowed."""


def counted(pictures: list[tuple[float, np.ndarray]]) -> TransitionCount:
    """Rises and falls in turn at these times and places, each a full swing of light."""
    count = TransitionCount(SHAPE, Fields(Screen(4, 4, (4.0, 4.0), 1.0), 0.25), most_per_second=3)
    for number, (at_s, cells) in enumerate(pictures):
        count.note_change(cells.astype(np.float32), at_s)
        pair = (NOWHERE, cells) if number % 2 else (cells, NOWHERE)
        if count.add(at_s, pair):
            count.judge(at_s)
    return count


def test_seven_transitions_of_more_than_a_quarter_are_counted() -> None:
    # WCAG 2.2, technique G19: seven in a second fail
    count = counted([(n / 10, LEFT) for n in range(7)])
    assert (count.now, count.most, count.failing) == (7, 7, 7)


def test_a_quarter_of_the_field_is_not_counted() -> None:
    assert counted([(n / 10, CORNER) for n in range(7)]).most == 0


def test_transitions_a_second_apart_do_not_share_a_window() -> None:
    assert counted([(n / 6, LEFT) for n in range(60)]).most == 6


def test_halves_in_turn_are_counted_by_moment() -> None:
    # left, right, left ...: no cell makes more than four transitions, the field as a whole makes seven
    assert counted([(n / 10, (LEFT, RIGHT)[n % 2]) for n in range(7)]).most == 7


def test_a_picture_without_transitions_counts_nothing() -> None:
    count = counted([])
    assert count.add(0.5, (NOWHERE, NOWHERE)) is False
    assert (count.now, count.most) == (0, 0)


@pytest.mark.parametrize(("age_s", "flashing"), [(0.33, True), (0.34, False)])
def test_cells_flash_until_a_third_of_a_second_after_their_last_transition(age_s: float, flashing: bool) -> None:
    count = counted([(n / 10, LEFT) for n in range(7)])
    assert count.flashing_at(0.6 + age_s) == flashing
