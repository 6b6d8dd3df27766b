"""Lines that differ, in one sample or in all, checked against a comparison of their bytes."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop.line_differences import differ


@given(st.integers(0, 150), st.integers(1, 400), st.integers(0, 999))
def test_a_line_differs_where_its_bytes_do(high: int, wide: int, seed: int) -> None:
    dice = np.random.default_rng(seed)
    lines = dice.integers(0, 256, (high, wide), np.uint8)
    others = lines.copy()
    for line in np.flatnonzero(dice.random(high) < 0.3):
        others[line, dice.integers(0, wide)] ^= dice.integers(0, 3, dtype=np.uint8)
    others[dice.random(high) < 0.2] ^= 255
    assert differ(lines, others).tolist() == [a.tobytes() != b.tobytes() for a, b in zip(lines, others, strict=True)]


def test_slices_of_wider_lines_may_be_compared() -> None:
    padded = np.zeros((5, 13), np.uint8)
    padded[3, 12] = 1
    assert differ(padded[1:, 3:], padded[:-1, 3:]).tolist() == [False, False, True, True]
