"""The drawn marks and cells."""

from __future__ import annotations

import numpy as np
from PIL import Image

from keyturn.calibrate import code_drawing, film_code
from keyturn.calibrate.code_drawing import BRIGHT, DARK
from keyturn.calibrate.code_layout import CodeLayout
from keyturn.calibrate.film_code import Code


def test_the_cells_read_back_from_the_picture() -> None:
    layout, code = CodeLayout((768, 1024)), Code(30, True, 1234)
    picture = Image.new("RGB", layout.size)
    code_drawing.cells(picture, layout, code)
    seen = np.asarray(picture)
    middles = (layout.cells[..., :2] + layout.cells[..., 2:]) / 2
    bright = (seen[middles[..., 1].astype(int), middles[..., 0].astype(int)] == BRIGHT).all(axis=-1)
    assert (bright[..., 0] != bright[..., 1]).all()
    for copy in range(4):
        bits = bright[copy, :, 0] ^ (copy % 2 == 1)
        assert film_code.code(bits) == code


def test_a_mark_is_a_bright_ring_with_a_bright_core() -> None:
    layout = CodeLayout((1024, 600))
    picture = Image.new("RGB", layout.size, (90, 90, 90))
    code_drawing.ground(picture, layout)
    seen = np.asarray(picture)
    for x, y in layout.marks:
        row = [tuple(seen[round(y), round(x + step * layout.module_px)].tolist()) for step in (-3, -2, -1, 0, 1, 2, 3)]
        assert row == [DARK, BRIGHT, DARK, BRIGHT, DARK, BRIGHT, DARK]
