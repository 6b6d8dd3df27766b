"""Areas of boxes by plain arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from keyturn.eye import luminance
from keyturn.eye.area import Fields
from keyturn.eye.screen import Screen
from keyturn.shop import rulebook

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")


def light_of(rgb: np.ndarray, screen: Screen) -> np.ndarray:
    """Relative luminance of each cell, 0 to 1."""
    planes = np.moveaxis(luminance.cells(rgb, screen.cell_px).astype(np.float32), -1, 0)
    return luminance.relative_luminance(*planes) / np.float32(luminance.FULL)


def box_share(screen: Screen, width: int, height: int, left: int = 0, top: int = 0) -> float:
    """The largest share of a field that a flashing box of grey 200 on black covers."""
    rgb = np.zeros((screen.height_px, screen.width_px, 3), np.uint8)
    rgb[top : top + height, left : left + width] = 200
    swing = light_of(rgb, screen)
    fields = Fields(screen, RULES.field_share)
    covered = fields.covered(swing >= RULES.luminance_step, swing)
    share = float(fields.shares(covered).max())
    assert fields.exceeds(covered) == (share > fields.share_limit)
    return share


def test_a_quarter_of_wcags_field() -> None:
    # WCAG 2.2: 25 % of 341 x 256 px = 21,824 px = 176 x 124
    assert box_share(Screen.wcag(RULES), 176, 124, 401, 213) == pytest.approx(0.25, abs=2e-4)


@pytest.mark.parametrize(("left", "top"), [(0, 0), (1, 2), (50, 33), (876, 620)])
def test_area_does_not_depend_on_where_cells_begin(left: int, top: int) -> None:
    assert box_share(Screen.wcag(RULES), 148, 147, left, top) == pytest.approx(148 * 147 / (341 * 256), rel=1e-3)


def test_a_small_panel_is_a_share_of_the_whole_field() -> None:
    # 40 x 30 px of 100 x 75 px
    assert box_share(Screen(40, 30, (100.0, 75.0), 1.0), 40, 30) == pytest.approx(0.16)


def test_the_limit_itself_passes_and_a_hundredth_more_exceeds_it() -> None:
    screen = Screen(100, 75, (100.0, 75.0), 1.0)
    fields = Fields(screen, 0.25)
    area = np.full(screen.shape, 0.25, np.float32)
    assert not fields.exceeds(area)
    assert fields.exceeds(area * np.float32(1.01))


def test_shares_are_sums_over_each_position_of_the_field() -> None:
    # by hand: a field of 2 x 3 cells slides over 4 x 5, and each position is summed one by one
    screen = Screen(5, 4, (3.0, 2.0), 1.0)
    area = np.random.default_rng(8).random((4, 5)).astype(np.float32)
    expected = [[area[r : r + 2, c : c + 3].sum() / 6 for c in range(3)] for r in range(3)]
    assert Fields(screen, 0.25).shares(area) == pytest.approx(np.array(expected), rel=1e-6)


def test_the_last_row_and_column_of_a_field_count_in_part() -> None:
    # by hand: a field of 2.5 x 1.25 cells over one lit cell a row; it covers 2.5 of a row of lit cells, and 1.25 rows
    screen = Screen(8, 6, (5.0, 2.5), 2.0)
    area = np.full(screen.shape, 4, np.float32)  # cells of 2 x 2 px
    assert Fields(screen, 0.25).shares(area) == pytest.approx(np.ones((2, 2)))
    area[1:] = 0
    assert Fields(screen, 0.25).shares(area) == pytest.approx(np.array([[0.8, 0.8], [0, 0]]))
    column = np.zeros(screen.shape, np.float32)
    column[:, 3] = 4
    assert Fields(screen, 0.25).shares(column) == pytest.approx(np.array([[0, 0.4], [0, 0.4]]))


@pytest.mark.parametrize("top", range(5))
def test_a_strip_through_every_field_is_its_share_of_the_fields_height(top: int) -> None:
    # 64 of 256 rows; in cells of 3.41 px the field is 75.07 of them high
    screen = Screen.wcag(RULES)
    assert box_share(screen, 1024, 64, 0, 100 + top) == pytest.approx(0.25, abs=1e-3)


@pytest.mark.parametrize("field", [(6.0, 4.0), (6.5, 4.25), (0.7, 3.0), (30.0, 20.0)])
def test_an_area_exceeds_the_limit_where_a_share_is_above_it(field: tuple[float, float]) -> None:
    rng = np.random.default_rng(11)
    screen = Screen(14, 11, field, 1.0001)
    for share in (0.1, 0.25, 0.5):
        fields = Fields(screen, share)
        for lit in (0.05, 0.1, 0.2, 0.25, 0.3, 0.5):
            area = fields.cell_area * (rng.random(screen.shape) < lit)
            assert fields.exceeds(area) == bool((fields.shares(area) > fields.share_limit).any())
            cells = area > 0
            most = fields.covered(cells, rng.random(screen.shape).astype(np.float32))
            assert fields.may_exceed(cells) or not fields.exceeds(most)
