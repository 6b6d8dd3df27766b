"""Sums over windows against sums of each window by itself."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view

from keyturn.eye.window_sums import window_sums


@pytest.mark.parametrize("window", [(1, 1), (2, 3), (5, 1), (7, 11), (12, 9)])
def test_each_position_has_the_sum_of_its_window(window: tuple[int, int]) -> None:
    values = np.random.default_rng(3).integers(-40, 40, (13, 17)).astype(np.float32)
    expected = sliding_window_view(values, window).sum(axis=(2, 3))
    assert (window_sums(values, window) == expected).all()
