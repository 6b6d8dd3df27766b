"""Change from frame to frame, and frames that stumble."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.eye import luminance, motion


def cells_of(grey: float) -> np.ndarray:
    return np.full((4, 5, 3), round(grey * luminance.FULL), np.uint16)


def test_change_is_the_mean_absolute_step_of_luminance() -> None:
    half = cells_of(0.25)
    half[:2] = cells_of(0.75)[:2]
    assert motion.change(cells_of(0.25), half) == pytest.approx(0.25, abs=1e-4)
    assert motion.change(half, half) == 0


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 2**32 - 1))
def test_change_is_symmetric_and_bounded(key: int) -> None:
    a, b = np.random.default_rng(key).integers(0, 65536, (2, 3, 4, 3), dtype=np.uint16)
    assert motion.change(a, b) == pytest.approx(motion.change(b, a))
    assert 0 <= motion.change(a, b) <= 1


@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (1, 7), (9, 1), (120, 90)])
def test_change_is_exact_as_far_as_floats_are(rows: int, columns: int) -> None:
    """Worked out in whole numbers; the largest step there can be is among them, both ways."""
    a, b = np.random.default_rng(rows).integers(0, 65536, (2, rows, columns, 3), dtype=np.uint16)
    a[0, 0], b[0, 0] = (0, 65535, 65535), (65535, 0, 65535)
    sums = [sum(abs(int(x) - int(y)) for x, y in zip(a[..., c].flat, b[..., c].flat, strict=True)) for c in range(3)]
    wanted = np.array([total / (rows * columns) / luminance.FULL for total in sums]) @ luminance.WEIGHTS.astype(float)
    assert motion.change(a, b) == wanted


def moving_bar(order: list[int]) -> list[np.ndarray]:
    """A bar two pixels wide that goes two pixels a frame; `order` is the frames as delivered."""
    frames = np.zeros((max(order) + 1, 8, 60, 3), np.uint8)
    for number, frame in enumerate(frames):
        frame[:, 2 * number : 2 * number + 4] = 255
    return [luminance.cells(frames[n], 1.0) for n in order]


@pytest.mark.parametrize(
    ("order", "doubled", "jumps"),
    [
        (list(range(20)), (), ()),
        ([*range(10), 9, *range(10, 20)], (10,), ()),
        ([*range(10), *range(11, 20)], (), (10,)),
    ],
)
def test_doubled_and_missing_frames_stand_out(order: list[int], doubled: tuple, jumps: tuple) -> None:
    changes = [motion.change(a, b) for a, b in itertools.pairwise(moving_bar(order))]
    assert len(changes) == len(order) - 1
    found = motion.stumbles(changes)
    assert (found.doubled, found.jumps) == (doubled, jumps)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param([0.0] * 12, id="a still"),
        pytest.param([0.0] * 6 + [0.1] * 6, id="a start"),
        pytest.param([0.0] * 5 + [0.4] + [0.0] * 5, id="a cut"),
        pytest.param([0.01 * 1.3**n for n in range(12)], id="easing in"),
        pytest.param([0.1, 0.0] * 6, id="shot on twos"),
    ],
)
def test_motion_that_is_meant_is_no_stumble(changes: list[float]) -> None:
    found = motion.stumbles(changes)
    assert (found.doubled, found.jumps) == ((), ())
