"""The streaming meter against a brute-force check written apart from it (slow_reference.py)."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.eye import luminance, transitions
from keyturn.eye.flash import FlashMeter, FlashReport
from keyturn.eye.luminance import Screen
from keyturn.shop import rulebook

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("slow_reference", Path(__file__).with_name("slow_reference.py"))
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


slow = _load()

GREYS = st.integers(0, 255).map(lambda g: (g, g, g))
EDGES = st.sampled_from([(g, g, g) for g in (0, 89, 90, 128, 163, 164, 230, 231, 232, 240, 254, 255)])
# Pure reds and colours that are none: the far state of each pair is then never in doubt.
REDS = st.sampled_from(
    [(255, 0, 0), (120, 0, 0), (255, 255, 255), (0, 0, 255), (255, 255, 0), (0, 0, 0), (90, 90, 90), (255, 170, 160)]
)


def states_of(pixels: list[tuple[int, int, int]]) -> list[np.ndarray]:
    return [luminance.cells(np.array([[p]], np.uint8), 1.0) for p in pixels]


def near_threshold(a: tuple[int, int, int], b: tuple[int, int, int]) -> bool:
    return abs(abs(slow.luminance(a) - slow.luminance(b)) - 0.10) < 4e-5


@settings(deadline=None, max_examples=150)
@given(st.lists(GREYS | EDGES, min_size=2, max_size=40))
def test_luminance_transitions_are_those_of_all_pairs(pixels: list[tuple[int, int, int]]) -> None:
    if any(near_threshold(a, b) for a in pixels for b in pixels):
        return  # two greys this close to 0.10 apart are within the cells' rounding, and count
    tracker, found = transitions.Luminance(RULES), {}
    for number, cells in enumerate(states_of(pixels)):
        rise, fall = tracker.step(luminance.relative_luminance(cells.astype(np.float32)) / luminance.FULL)
        if rise.any() or fall.any():
            found[number] = 1 if rise.any() else -1
    assert found == slow.transitions(pixels, slow.general_change)


@settings(deadline=None, max_examples=150)
@given(st.lists(REDS, min_size=2, max_size=40))
def test_red_transitions_are_those_of_all_pairs(pixels: list[tuple[int, int, int]]) -> None:
    tracker, found = transitions.Red(RULES), {}
    for number, cells in enumerate(states_of(pixels)):
        planes = tuple(np.ascontiguousarray(cells[..., i], np.float32) for i in range(3))
        to_red, from_red = tracker.step(planes)
        if to_red.any() or from_red.any():
            found[number] = 1 if to_red.any() else -1
    assert found == slow.transitions(pixels, slow.red_change)


def judged(film: list[list[list[tuple[int, int, int]]]], times: list[float], field: tuple[int, int]) -> FlashReport:
    screen = Screen(len(film[0][0]), len(film[0]), (float(field[1]), float(field[0])), 1.0)
    meter = FlashMeter(screen, RULES)
    for picture, at_s in zip(film, times, strict=True):
        meter.show(luminance.cells(np.array(picture, np.uint8), 1.0), at_s)
    return meter.report()


BLACK, WHITE = (0, 0, 0), (255, 255, 255)
RED, BLUE = (255, 0, 0), (0, 0, 255)
"""Two states of one swing: what a cell counts for does not then depend on its neighbours' swings."""


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
    """So that the comparison above compares something."""
    pace = [[[[states[n // every % 2]] * 2] * 2 for n in range(36)] for every in (2, 6)]
    times = [n / 30 for n in range(36)]
    change = slow.general_change if states[0] == BLACK else slow.red_change
    assert [slow.fails(film, times, (2, 2), change) for film in pace] == [True, False]
