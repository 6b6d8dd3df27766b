"""Where marks and cells stand on a panel."""

from __future__ import annotations

import numpy as np
import pytest

from calibration_samples import RADIOS
from keyturn.calibrate.code_layout import COPIES, CodeLayout
from keyturn.calibrate.film_code import BITS

SIZES = {radio.panel.size for radio in RADIOS.values()} | {(48, 64)}


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_cells_and_marks_lie_on_the_panel_and_do_not_overlap(size: tuple[int, int]) -> None:
    layout = CodeLayout(size)
    half = layout.mark_px / 2 + layout.module_px
    marks = [(x - half, y - half, x + half, y + half) for x, y in layout.marks]
    boxes = np.array([*marks, *layout.cells.reshape(-1, 4), *layout.strip])
    assert (boxes[:, :2] >= -1e-9).all() and (boxes[:, 2:] <= np.array(size) + 1e-9).all()
    for number, (left, top, right, foot) in enumerate(boxes):
        others = np.delete(boxes, number, axis=0)
        wide = np.minimum(right, others[:, 2]) - np.maximum(left, others[:, 0])
        tall = np.minimum(foot, others[:, 3]) - np.maximum(top, others[:, 1])
        assert (np.minimum(wide, tall) <= 1e-6).all()


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_a_cell_is_large_enough_in_a_film_four_times_as_high_as_the_screen(size: tuple[int, int]) -> None:
    """In a film of 720 lines. Two samples a cell are the least that show it (Nyquist); blur takes about one more."""
    cells = CodeLayout(size).cells.reshape(-1, 4)
    sides = np.minimum(cells[:, 2] - cells[:, 0], cells[:, 3] - cells[:, 1])
    assert sides.min() * 720 / 4 / size[1] >= 3.5


def test_each_copy_has_a_bit_in_another_place_and_every_second_is_inverted() -> None:
    layout = CodeLayout((1024, 600))
    cells = layout.cells
    assert cells.shape == (COPIES, BITS, 2, 4)
    inside = cells[:, :, 0, :2] - cells[:, :, 0, :2].min(axis=1, keepdims=True)
    for bit in range(BITS):
        assert len({tuple(np.round(place, 3)) for place in inside[:, bit]}) == COPIES
    bits = np.arange(BITS) % 3 == 0
    assert (layout.first_bright(bits)[0] == ~layout.first_bright(bits)[1]).all()
