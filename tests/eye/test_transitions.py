"""Transitions of a cell against a search of all pairs of pictures, written apart from the package."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from eye import slow_reference as slow
from keyturn.eye import area, luminance, transitions
from keyturn.shop import rulebook

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")

GREYS = st.integers(0, 255).map(lambda g: (g, g, g))
EDGES = st.sampled_from([(g, g, g) for g in (0, 89, 90, 128, 163, 164, 230, 231, 232, 240, 254, 255)])
# Pure reds and colours that are none: the far state of each pair is then never in doubt.
REDS = st.sampled_from(
    [(255, 0, 0), (120, 0, 0), (255, 255, 255), (0, 0, 255), (255, 255, 0), (0, 0, 0), (90, 90, 90), (255, 170, 160)]
)


def states_of(pixels: list[tuple[int, int, int]]) -> list[np.ndarray]:
    return [luminance.cells(np.array([[p]], np.uint8), 1.0) for p in pixels]


def planes_of(cells: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    red, green, blue = (np.ascontiguousarray(cells[..., i], np.float32) for i in range(3))
    return red, green, blue


def near_threshold(a: tuple[int, int, int], b: tuple[int, int, int]) -> bool:
    return abs(abs(slow.luminance(a) - slow.luminance(b)) - 0.10) < 4e-5


@settings(deadline=None, max_examples=150)
@given(st.lists(GREYS | EDGES, min_size=2, max_size=40))
def test_luminance_transitions_are_those_of_all_pairs(pixels: list[tuple[int, int, int]]) -> None:
    if any(near_threshold(a, b) for a in pixels for b in pixels):
        return  # two greys this close to 0.10 apart are within the cells' rounding, and count
    tracker, found = transitions.Luminance(RULES), {}
    for number, cells in enumerate(states_of(pixels)):
        rise, fall = tracker.step(luminance.relative_luminance(*planes_of(cells)) / np.float32(luminance.FULL))
        if rise.any() or fall.any():
            found[number] = 1 if rise.any() else -1
    assert found == slow.transitions(pixels, slow.general_change)


@settings(deadline=None, max_examples=150)
@given(st.lists(REDS, min_size=2, max_size=40))
def test_red_transitions_are_those_of_all_pairs(pixels: list[tuple[int, int, int]]) -> None:
    tracker, found = transitions.Red(RULES), {}
    for number, cells in enumerate(states_of(pixels)):
        to_red, from_red = tracker.step(planes_of(cells))
        if to_red.any() or from_red.any():
            found[number] = 1 if to_red.any() else -1
    assert found == slow.red_transitions(pixels)


def changes_of_red(pixels: list[tuple[int, int, int]]) -> list[str]:
    tracker = transitions.Red(RULES)
    steps = [tracker.step(planes_of(cells)) for cells in states_of(pixels)]
    return ["to" if to_red.any() else "from" if from_red.any() else "" for to_red, from_red in steps]


def test_black_is_no_saturated_red() -> None:
    # WCAG 2.2: R / (R + G + B) >= 0.8 is a saturated red. Black has no such share, white has a third.
    assert changes_of_red([(0, 0, 0), (255, 255, 255), (0, 0, 0)]) == ["", "", ""]
    assert changes_of_red([(0, 0, 0), (255, 0, 0), (0, 0, 0)]) == ["", "to", "from"]


@pytest.mark.parametrize(("rgb", "flashes"), [((255, 128, 0), False), ((255, 255, 0), True), ((255, 255, 255), True)])
def test_red_against_other_colours(rgb: tuple[int, int, int], flashes: bool) -> None:
    # distances from pure red in u'v' are worked out in test_luminance.py: 0.132, 0.249, 0.259; the limit is 0.2
    assert changes_of_red([(255, 0, 0), rgb, (255, 0, 0)]) == (["", "from", "to"] if flashes else [""] * 3)


def test_one_transition_of_a_pair_leads_to_or_from_a_saturated_red() -> None:
    # WCAG 2.2, red flash. (255, 120, 120) has R / (R + G + B) = 0.73; in u'v' it lies 0.36 from blue, 0.14 from red
    red, blue, pink = (255, 0, 0), (0, 0, 255), (255, 120, 120)
    assert changes_of_red([red, blue, pink, blue, red]) == ["", "from", "to", "from", "to"]
    assert changes_of_red([blue, pink, blue, pink, blue]) == [""] * 5
    assert changes_of_red([red, blue, pink, blue, pink, blue]) == ["", "from", "to", "from", "", ""]
    assert changes_of_red([red, blue, pink, red, blue]) == ["", "from", "to", "", "from"]


def test_a_fade_is_told_where_it_reaches_the_threshold_and_wavering_does_not_repeat_it() -> None:
    tracker = transitions.Luminance(RULES)
    levels = [0.30, 0.34, 0.38, 0.41, 0.37, 0.45, 0.60, 0.51, 0.49]  # up by 0.10 at 0.41, down by 0.10 at 0.49
    steps = [tracker.step(np.full((1, 1), level, np.float32)) for level in levels]
    assert [bool(rise.any()) for rise, _ in steps] == [level == 0.41 for level in levels]
    assert [bool(fall.any()) for _, fall in steps] == [level == 0.49 for level in levels]


PALETTE = np.array([(0, 0, 0), (90, 90, 90), (240, 240, 240), (255, 0, 0), (255, 40, 40), (0, 0, 255)], np.uint8)


@pytest.mark.parametrize("begins_black", [False, True])
@pytest.mark.parametrize("reds", [0.01, 0.5])
@pytest.mark.parametrize("seed", range(3))
def test_cells_outside_the_box_that_changes_need_not_be_looked_at(seed: int, reds: float, begins_black: bool) -> None:
    """A cell's transitions depend on no other cell: each row by itself, looked at in every picture, makes the same."""
    rng = np.random.default_rng(seed)
    shown = PALETTE[rng.choice(3, (24, 30))]
    if begins_black:
        shown[:] = 0
    whole = transitions.Luminance(RULES), transitions.Red(RULES)
    rows = [(transitions.Luminance(RULES), transitions.Red(RULES)) for _ in shown]
    box, made = area.WHOLE, 0
    for _ in range(40):
        planes = planes_of(luminance.cells(shown, 1.0))
        light = luminance.relative_luminance(*planes) / np.float32(luminance.FULL)
        found = *whole[0].step(light, box), *whole[1].step(planes, box)
        for row, (by_light, by_colour) in enumerate(rows):
            here = slice(row, row + 1)
            colours = (planes[0][here], planes[1][here], planes[2][here])
            alone = *by_light.step(light[here]), *by_colour.step(colours)
            assert all((of_all[here] == of_row).all() for of_all, of_row in zip(found, alone, strict=True))
        made += sum(int(side.sum()) for side in found[2:])
        (top, bottom), (left, right) = np.sort(rng.integers(0, 25, 2)), np.sort(rng.integers(0, 31, 2))
        box = slice(int(top), int(bottom)), slice(int(left), int(right))
        states = rng.random((bottom - top, right - left)) < reds
        shown[box] = PALETTE[np.where(states, rng.integers(3, 6, states.shape), rng.integers(0, 3, states.shape))]
    assert made > 0
