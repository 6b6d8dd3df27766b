"""Which stretches of time cells leave open: boxes whose borders and whose pixels could decide, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from keyturn.eye.screen import Screen
from keyturn.eye.undecided import BEFORE_S, Stretch, Undecided
from keyturn.shop import rulebook

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")
SCREEN = Screen(80, 80, (80.0, 80.0), 2.0)
"""40 x 40 cells, all in one field: a quarter are 400 cells."""

NOWHERE = np.zeros((40, 40), np.bool_)


def stretches(side: int, times: list[float], step: float = 0.2, dark: float = 0.1) -> list[Stretch]:
    """What is left open where a square of `side` cells goes up and down by `step` at these times."""
    undecided = Undecided(SCREEN, RULES)
    for number, at_s in enumerate([times[0] - 0.1, *times]):
        light = np.full((40, 40), dark, np.float32)
        light[5 : 5 + side, 10 : 10 + side] += step * (number % 2)
        undecided.note(at_s, undecided.step(light), (NOWHERE, NOWHERE))
    return undecided.stretches()


SEVEN = [n / 10 for n in range(7)]


@pytest.mark.parametrize(("side", "left_open"), [(17, False), (19, True), (30, True)])
def test_cells_beside_a_flashing_area_count_too(side: int, left_open: bool) -> None:
    # 17 cells a side and one more on each are 361 of the 400 allowed; 19 are 441
    assert bool(stretches(side, SEVEN)) == left_open


@pytest.mark.parametrize(("step", "left_open"), [(0.04, False), (0.06, True)])
def test_half_the_threshold_may_hide_pixels_that_reach_it(step: float, left_open: bool) -> None:
    assert bool(stretches(30, SEVEN, step)) == left_open


def test_a_bright_cell_may_hold_dark_pixels() -> None:
    assert stretches(30, SEVEN, 0.1, dark=0.85)


def test_six_transitions_leave_nothing_open() -> None:
    assert stretches(40, SEVEN[:6]) == []


def test_a_stretch_holds_the_second_before_and_the_cells_beside() -> None:
    (found,) = stretches(20, [10 + t for t in SEVEN])
    assert (found.from_s, found.until_s) == pytest.approx((10.6 - BEFORE_S, 10.6))
    assert found.box == (slice(4, 26), slice(9, 31)) and not found.red


def test_stretches_that_overlap_are_one() -> None:
    near, far = [*SEVEN, *(1.5 + t for t in SEVEN)], [*SEVEN, *(9 + t for t in SEVEN)]
    assert len(stretches(20, near)) == 1
    assert len(stretches(20, far)) == 2


def test_red_cells_are_left_open_too() -> None:
    undecided = Undecided(SCREEN, RULES)
    red = np.ones((40, 40), np.bool_)
    for number, at_s in enumerate(SEVEN):
        pair = (red, NOWHERE) if number % 2 else (NOWHERE, red)
        undecided.note(at_s, undecided.step(np.full((40, 40), 0.5, np.float32)), pair)
    (found,) = undecided.stretches()
    assert found.red
