"""The loss of a lossy file against scikit-image's CIELAB of means taken one square at a time."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.color import rgb2lab, xyz2lab

from keyturn.eye.cielab import NOTICEABLE
from keyturn.eye.loss import CELL_PX, lost

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour


def lab_of_square(rgb: np.ndarray) -> np.ndarray:
    """CIELAB of the mean light of a square, by two libraries: colour-science averages, scikit-image converts."""
    light = colour.models.eotf_sRGB(rgb / 255).mean(axis=(0, 1))
    return xyz2lab(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ @ light)


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 3), st.integers(1, 3), st.integers(1, 40), st.integers(0, 2**32 - 1))
def test_the_largest_difference_of_any_square(high: int, wide: int, spread: int, key: int) -> None:
    dice = np.random.default_rng(key)
    before = dice.integers(0, 256, (high * CELL_PX, wide * CELL_PX, 3), dtype=np.uint8)
    after = np.clip(before + dice.integers(-spread, spread + 1, before.shape), 0, 255).astype(np.uint8)
    squares = [
        (slice(r * CELL_PX, (r + 1) * CELL_PX), slice(c * CELL_PX, (c + 1) * CELL_PX))
        for r, c in itertools.product(range(high), range(wide))
    ]
    expected = max(float(np.linalg.norm(lab_of_square(before[at]) - lab_of_square(after[at]))) for at in squares)
    assert lost(before, after) == pytest.approx(expected, abs=0.05)


def test_equal_pictures_lose_nothing() -> None:
    picture = np.random.default_rng(4).integers(0, 256, (30, 41, 3), dtype=np.uint8)
    assert lost(picture, picture.copy()) == 0


def test_one_flat_colour_against_another_is_their_cie76_difference() -> None:
    one, other = np.full((9, 9, 3), (90, 60, 30), np.uint8), np.full((9, 9, 3), (96, 60, 30), np.uint8)
    expected = float(np.linalg.norm(rgb2lab(one)[0, 0] - rgb2lab(other)[0, 0]))  # scikit-image
    assert lost(one, other) == pytest.approx(expected, abs=0.05)


def test_grain_finer_than_a_square_is_not_seen_and_a_shifted_square_is() -> None:
    picture = np.full((16, 16, 3), 120, np.uint8)
    picture[::2, ::2] += 12
    swapped = picture[:, ::-1]  # the same grains, one pixel aside
    assert (swapped != picture).any() and lost(picture, swapped) < 0.01
    spoilt = picture.copy()
    spoilt[4:8, 8:12] += 12
    assert lost(picture, spoilt) > NOTICEABLE


def test_pictures_of_two_sizes_are_an_error() -> None:
    with pytest.raises(ValueError, match="cannot be compared"):
        lost(np.zeros((4, 4, 3), np.uint8), np.zeros((4, 5, 3), np.uint8))
