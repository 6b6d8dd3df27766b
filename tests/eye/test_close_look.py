"""Flashes counted in pixels: shapes drawn by hand, and what is finer than a tenth of a degree."""

from __future__ import annotations

import numpy as np
import pytest

from keyturn.eye import luminance
from keyturn.eye.close_look import CloseLook, Grid, opened
from keyturn.eye.screen import Screen
from keyturn.eye.undecided import Stretch
from keyturn.shop import rulebook

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")
SCREEN = Screen.with_field((128, 96), (341, 256), RULES)
"""Cells of 3.41 px."""

WHOLE = (slice(0, SCREEN.shape[0]), slice(0, SCREEN.shape[1]))
NO_CELLS = np.zeros(SCREEN.shape, np.bool_)


def lit(rows: slice, cols: slice) -> np.ndarray:
    pixels = np.zeros((96, 128), np.bool_)
    pixels[rows, cols] = True
    return pixels


def test_a_grid_holds_every_pixel_of_the_screen_once() -> None:
    assert Grid(SCREEN, WHOLE).place_px == (slice(0, 96), slice(0, 128))


def test_a_part_of_the_screen_begins_and_ends_with_its_cells() -> None:
    # cells 3 to 5 of 3.41 px reach from 10.23 to 20.46 px: the pixels whose centres lie there are 10 to 19
    assert Grid(SCREEN, (slice(3, 6), slice(0, 1))).place_px == (slice(10, 20), slice(0, 3))


@pytest.mark.parametrize("left", range(4))
def test_the_area_of_a_box_is_its_pixels_wherever_cells_begin(left: int) -> None:
    box = lit(slice(5, 28), slice(left, left + 31))
    area = Grid(SCREEN, WHOLE).area([box], NO_CELLS, (box, ~box & False))
    assert area.sum() == 23 * 31
    assert (area == box).all()


def test_a_pattern_finer_than_a_cell_is_left_to_its_cells() -> None:
    fine = lit(slice(None), slice(None))
    fine[:, 1::2] = False
    grid, all_cells = Grid(SCREEN, WHOLE), np.ones(SCREEN.shape, np.bool_)
    assert grid.area([fine], NO_CELLS, (fine, ~fine & False)).sum() == 0
    assert grid.area([fine], all_cells, (fine, ~fine & False)).sum() == 96 * 128
    assert grid.area([fine, ~fine], all_cells, (fine, ~fine)).sum() == 0  # as much turns darker as brighter


@pytest.mark.parametrize(("side", "kept"), [(3, True), (4, True), (5, False)])
def test_opening_keeps_what_holds_a_square(side: int, kept: bool) -> None:
    stripe = lit(slice(20, 24), slice(10, 60))
    assert (opened(stripe, side) == (stripe if kept else False)).all()


def looked(levels: list[int], box: np.ndarray, ground: int = 30) -> CloseLook:
    screen = Screen(128, 96, (100.0, 75.0), 2.0)
    cells = slice(0, screen.shape[0]), slice(0, screen.shape[1])
    look = CloseLook(screen, RULES, Stretch(0, 1, cells, red=False))
    for number, level in enumerate(levels):
        rgb = np.full((96, 128, 3), ground, np.uint8)
        rgb[box] = level
        look.show(luminance.cells(rgb, 2.0), rgb, number / 15)
    return look


@pytest.mark.parametrize(("cols", "fails"), [(37, False), (38, True)])
def test_seven_transitions_of_more_than_a_quarter_of_the_field_fail(cols: int, fails: bool) -> None:
    # 50 rows of 37 px are 1,850 of 7,500 px, 24.7 %; of 38 px 25.3 %
    look = looked([30, 200] * 4, lit(slice(11, 61), slice(7, 7 + cols)))
    assert look.fails == fails
    assert look.findings().share == pytest.approx(50 * cols / 7500)


def test_six_transitions_pass() -> None:
    look = looked([30, 200] * 3 + [30], lit(slice(None), slice(None)))
    assert not look.fails
    assert look.findings().share == 0
