"""White noise told from patterns that are none."""

from __future__ import annotations

import numpy as np
import pytest

from keyturn.eye.noise import white_noise

REACH = 5


@pytest.mark.parametrize("key", range(4))
def test_independent_changes_are_noise(key: int) -> None:
    change = np.random.default_rng(key).normal(0, 0.2, (40, 60)).astype(np.float32)
    inner = white_noise(change, REACH)[REACH:-REACH, REACH:-REACH]  # at the edge, repeated cells are not independent
    assert inner.mean() > 0.97


ROWS, COLS = np.indices((40, 60))


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(np.full((40, 60), 0.3), id="an even area"),
        pytest.param(np.where(COLS % 2, 0.3, -0.3), id="stripes one cell wide"),
        pytest.param(np.where((ROWS + COLS) % 2, 0.3, -0.3), id="a checkerboard"),
        pytest.param(np.where((ROWS // 4 + COLS // 4) % 2, 0.3, -0.3), id="a coarse checkerboard"),
        pytest.param(np.abs(np.random.default_rng(2).normal(0, 0.2, (40, 60))), id="noise that only brightens"),
    ],
)
def test_larger_patterns_and_unbalanced_changes_are_no_noise(change: np.ndarray) -> None:
    assert white_noise(change.astype(np.float32), REACH).mean() < 0.05
