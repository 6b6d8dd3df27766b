"""The streaming meter against a brute-force check written apart from it (slow_reference.py)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from eye import slow_reference as slow
from keyturn.eye import luminance
from keyturn.eye.flash import FlashMeter
from keyturn.eye.screen import Screen
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")


def judged(film: list[list[list[tuple[int, int, int]]]], times: list[float], field: tuple[int, int]) -> FlashRecord:
    screen = Screen(len(film[0][0]), len(film[0]), (float(field[1]), float(field[0])), 1.0)
    meter = FlashMeter(screen, RULES)
    for picture, at_s in zip(film, times, strict=True):
        meter.show(luminance.cells(np.array(picture, np.uint8), 1.0), at_s)
    return meter.report()


BLACK, WHITE = (0, 0, 0), (255, 255, 255)
RED, BLUE = (255, 0, 0), (0, 0, 255)
"""Two states only, so that all cells swing alike and a cell's area does not depend on its neighbours' swings."""


@st.composite
def films(draw: st.DrawFn, states: tuple, most: int = 36) -> tuple[list, list[float], tuple[int, int]]:
    """A small picture whose pixels flip in a few groups, each with its own pace, so that verdicts differ."""
    rows, cols = draw(st.tuples(st.integers(1, 4), st.integers(1, 4)))
    pictures = draw(st.integers(8, most))
    groups = draw(st.lists(st.lists(st.booleans(), min_size=pictures, max_size=pictures), min_size=1, max_size=3))
    member = draw(st.lists(st.integers(0, len(groups) - 1), min_size=rows * cols, max_size=rows * cols))
    state = [np.logical_xor.accumulate(group) for group in groups]
    film = [
        [[states[int(state[member[r * cols + c]][n])] for c in range(cols)] for r in range(rows)]
        for n in range(pictures)
    ]
    steps = draw(st.lists(st.sampled_from([1 / 30, 1 / 12, 0.25]), min_size=pictures, max_size=pictures))
    field = draw(st.tuples(st.integers(1, 5), st.integers(1, 5)))
    return film, np.cumsum(steps).tolist(), field


@settings(deadline=None, max_examples=120)
@given(films((BLACK, WHITE)))
def test_verdicts_on_light_are_those_of_brute_force(drawn: tuple) -> None:
    film, times, field = drawn
    report = judged(film, times, field)
    assert (report.general_max_per_s > 3) == slow.fails(film, times, field, slow.general_change)
    assert report.passes == (report.general_max_per_s <= 3 and report.red_max_per_s <= 3)


@settings(deadline=None, max_examples=60)
@given(films((RED, BLUE)))
def test_verdicts_on_red_are_those_of_brute_force(drawn: tuple) -> None:
    film, times, field = drawn
    assert (judged(film, times, field).red_max_per_s > 3) == slow.fails(film, times, field, slow.red_change)


@pytest.mark.parametrize("states", [(BLACK, WHITE), (RED, BLUE)])
def test_the_drawn_films_hold_both_verdicts(states: tuple) -> None:
    """The comparisons above would prove nothing if all films passed, or all failed."""
    pace = [[[[states[n // every % 2]] * 2] * 2 for n in range(36)] for every in (2, 6)]
    times = [n / 30 for n in range(36)]
    change = slow.general_change if states[0] == BLACK else slow.red_change
    assert [slow.fails(film, times, (2, 2), change) for film in pace] == [True, False]
