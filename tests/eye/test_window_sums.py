"""Sums over windows against sums of each window by itself."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view

from keyturn.eye.window_sums import CLOSE, run_sums, window_counts, window_sums

WINDOWS = [(1, 1), (2, 3), (5, 1), (7, 11), (12, 9), (13, 17)]


@pytest.mark.parametrize("window", WINDOWS)
def test_each_position_has_the_sum_of_its_window(window: tuple[int, int]) -> None:
    values = np.random.default_rng(3).integers(-40, 40, (13, 17)).astype(np.float32)
    expected = sliding_window_view(values, window).sum(axis=(2, 3))
    assert (window_sums(values, window) == expected).all()
    assert (run_sums(values, window) == expected).all()
    assert (window_counts(values > 0, window) == sliding_window_view(values > 0, window).sum(axis=(2, 3))).all()


@pytest.mark.parametrize("window", [(11, 11), (100, 75), (256, 256)])
def test_sums_in_single_precision_are_as_close_as_is_said(window: tuple[int, int]) -> None:
    values = np.random.default_rng(5).normal(0, 1, (260, 300)).astype(np.float32)
    off = np.abs(run_sums(values, window) - window_sums(values, window))
    assert (off < CLOSE * window_sums(np.abs(values), window)).all()


def test_a_window_of_many_cells_is_counted_whole() -> None:
    assert window_counts(np.ones((200, 180), np.bool_), (200, 180)).item() == 200 * 180  # more than 16 bits hold
