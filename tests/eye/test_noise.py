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


def slowly(change: np.ndarray) -> np.ndarray:
    """What is noise by its definition, cell by cell, summed in double precision; the edge is repeated beyond itself."""
    change = change.astype(np.float32)
    around = np.pad(change, REACH, mode="edge").astype(float)
    a, b, c, d = change[:-1, :-1], change[:-1, 1:], change[1:, :-1], change[1:, 1:]
    product, power = a * b * c * d, ((a * a + b * b + c * c + d * d) / 4) ** 2
    product, power = (np.pad(each, REACH, mode="edge").astype(float) for each in (product, power))
    noise = np.zeros(change.shape, bool)
    side = 2 * REACH + 1
    for row, col in np.ndindex(change.shape):
        near = around[row : row + side, col : col + side]
        block = np.s_[min(row, len(change) - 2) :, min(col, change.shape[1] - 2) :]
        products, powers = (each[block][:side, :side].sum() for each in (product, power))
        noise[row, col] = abs(near.sum()) < 0.3 * np.abs(near).sum() and products < 0.25 * powers
    return noise


@pytest.mark.parametrize("key", range(6))
def test_each_cell_is_judged_with_those_around_it(key: int) -> None:
    """Changes of one size come to sums that are just as large as the bounds."""
    rng = np.random.default_rng(key)
    sizes = [[0, 0.25, -0.25], [-0.1, 0, 0, 0.3, 0.31], [0.5, -0.5]][key % 3]
    change = rng.choice(sizes, (9, 14)).repeat(1 + key // 3, 0).repeat(2, 1).astype(np.float32)
    among = rng.random(change.shape) < 0.3
    assert (white_noise(change, REACH) == slowly(change)).all()
    assert (white_noise(change, REACH, among) == slowly(change) & among).all()
