"""A screen's cells and its 10-degree field, against WCAG 2.2's own figures and plane geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest

from keyturn.eye import luminance
from keyturn.eye.screen import Screen
from keyturn.shop import radio_profile, rulebook

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")


@pytest.mark.parametrize("cell", [0.5, 1.0, 3.41, 4.0, 5.95])
def test_an_even_picture_makes_even_cells_of_the_screens_shape(cell: float) -> None:
    screen = Screen(97, 61, (30.0, 20.0), cell)
    cells = luminance.cells(np.full((61, 97, 3), 90, np.uint8), cell)
    assert cells.shape == (*screen.shape, 3)
    assert np.unique(cells).size == 1
    assert screen.cell_area_px.sum() == pytest.approx(61 * 97)


def test_wcags_own_screen() -> None:
    screen = Screen.wcag(RULES)
    # WCAG 2.2, notes on the thresholds: 341 x 256 px at 1024 x 768; a quarter is 21,824 px
    assert screen.field_area_px * RULES.field_share == 21_824
    assert screen.cell_px == pytest.approx(3.41)


def test_a_panels_field_is_ten_degrees_wide_at_the_eye() -> None:
    panel = radio_profile.Panel(source="test", width=768, height=1024, width_mm=158, view_mm=700)
    screen = Screen.of(panel, RULES)
    # plane geometry: ten degrees at 700 mm are 2 x 700 x tan(5 deg) = 122.5 mm; this panel has 4.861 px a mm
    assert screen.field_px[0] == pytest.approx(595.4, abs=0.1)
    # WCAG 2.2: the limit is 0.006 steradians. Ours must not be laxer.
    steradian_px = (screen.field_px[0] / math.radians(10)) ** 2
    assert 0.9 * 0.006 < screen.field_area_px * RULES.field_share / steradian_px <= 0.006


@pytest.mark.parametrize(
    ("field_px", "cell_px", "cells"),
    [
        ((30.0, 20.0), 1.0, (20, 30)),
        ((30.0, 20.0), 4.0, (5, 7.5)),
        ((30.0, 20.0), 0.5, (20, 30)),  # a cell is no smaller than a pixel
    ],
)
def test_a_field_is_no_whole_number_of_cells(
    field_px: tuple[float, float], cell_px: float, cells: tuple[float, float]
) -> None:
    assert Screen(97, 61, field_px, cell_px).field_cells == cells
