"""Movement outside a crop: squares in closed form, the best window by brute force, and what is no movement."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye.cielab import lab
from keyturn.eye.cropped import MOVES, Axis, best_focus, movement, outside

WIDE, HIGH = 64, 32
Pixels = NDArray[np.uint8]


def scene(x: int, *, side: int = 4, y: int = 10) -> Pixels:
    """A light square on a dark ground, its left edge at column `x`."""
    picture = np.full((HIGH, WIDE, 3), (30, 40, 50), np.uint8)
    picture[y : y + side, x : x + side] = (220, 200, 90)
    return picture


def test_a_square_that_jumps_moves_where_it_was_and_where_it_is() -> None:
    # Closed form: from x = 0 to 32 to 60 its 16 pixels change once, twice and once.
    moved = movement([scene(0), scene(32), scene(60)])
    assert moved.sum() == 64
    assert (moved[10:14, :4] == 1).all() and (moved[10:14, 32:36] == 2).all() and (moved[10:14, 60:] == 1).all()
    assert outside(moved, (0, 0, 1, 1)) == 0
    assert outside(moved, (0.5, 0, 1, 1)) == pytest.approx(1 / 4)
    assert outside(moved, (0.25, 0, 0.75, 1)) == pytest.approx(1 / 2)
    assert outside(moved, (2 / 64, 0, 1, 1)) == pytest.approx(1 / 8)  # the edge runs through the first square
    assert outside(moved, (1 / 128, 0, 1, 1)) == pytest.approx(1 / 32)  # half of its first column of four
    assert outside(moved, (0, 12 / 32, 1, 1)) == pytest.approx(1 / 2)


def test_what_does_not_move_is_not_lost() -> None:
    surround = np.random.default_rng(1).integers(0, 256, (HIGH, WIDE, 3)).astype(np.uint8)
    assert outside(movement([surround] * 5), (0.4, 0, 0.6, 1)) == 0


def test_a_fade_or_a_cut_is_no_movement() -> None:
    steps = [np.full((HIGH, WIDE, 3), grey, np.uint8) for grey in (0, 90, 180, 250)]
    assert movement(steps).sum() == 0


def compressed(picture: Pixels, quality: int) -> Pixels:
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=quality)
    return np.asarray(Image.open(file))


@pytest.mark.parametrize("kind", range(6))
def test_neither_noise_nor_compression_reaches_the_threshold(kind: int) -> None:
    # ITU-T T.81, annex K: its tables as printed are libjpeg's quality 50. Noise of 6 steps is a poor camera's at night
    # (common practice, no source). Sixteen pixels a side become one, as from 1024 to 64.
    dice = np.random.default_rng(kind)
    soft = Image.fromarray(dice.integers(0, 256, (5, 7, 3)).astype(np.uint8)).resize((1024, 512), 3)
    still = np.asarray(soft).astype(float)
    stamps = []
    for quality in (50, 60, 75, 90):
        noisy = np.clip(still + dice.normal(0, 6, still.shape), 0, 255).astype(np.uint8)
        stamps.append(np.asarray(Image.fromarray(compressed(noisy, quality)).resize((WIDE, HIGH), 4)))
    apart = [np.sqrt(((lab(a) - lab(b)) ** 2).sum(-1)).max() for a in stamps for b in stamps]
    assert 0 < max(apart) < 5 < MOVES
    assert movement(stamps).sum() == 0


profiles = st.lists(st.integers(0, 9), min_size=1, max_size=24).filter(any)


@settings(deadline=None, max_examples=150)
@given(st.lists(st.tuples(profiles, st.floats(0.05, 0.999)), min_size=1, max_size=3))
def test_no_focus_keeps_more_than_the_best(parts: list[tuple[list[int], float]]) -> None:
    axes = [Axis(np.array(profile, float), keep) for profile, keep in parts]
    found = best_focus(axes)
    kept = sum(axis.kept(found) for axis in axes)
    brute = max(sum(axis.kept(focus) for axis in axes) for focus in np.linspace(0, 1, 1001))
    assert 0 <= found <= 1
    # On a grid of thousandths the best may lie half a step away, where each axis gains at most its densest square.
    slack = sum(max(axis.moved) * len(axis.moved) for axis in axes) / 1000
    assert brute - 1e-9 <= kept <= brute + slack


def test_what_a_window_keeps_is_the_plain_sum() -> None:
    # By whole squares: 3 of 6 kept, so the window is a sliding sum of three.
    profile = np.array([0, 1, 5, 2, 0, 0], float)
    assert Axis(profile, 0.5).kept(0.0) == 6 and Axis(profile, 0.5).kept(1.0) == 2
    assert best_focus([Axis(profile, 0.5)]) == pytest.approx((1 / 6 + 4 / 6) / 2)
    assert Axis(profile, 0.5).kept(best_focus([Axis(profile, 0.5)])) == 8
