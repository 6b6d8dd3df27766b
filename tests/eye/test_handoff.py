"""The difference of two pictures against colour-science and scikit-image."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from skimage.color import rgb2lab

from keyturn.eye import handoff
from keyturn.eye.cielab import NOTICEABLE

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour


def visible(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return handoff.colour_distance(a, b) > NOTICEABLE


def test_mean_difference_is_cie76() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.integers(0, 256, (2, 20, 30, 3), dtype=np.uint8)
    expected = colour.delta_E(rgb2lab(a), rgb2lab(b), method="CIE 1976")  # colour-science
    found = handoff.difference(handoff.colour_distance(a, b))
    assert found.mean_difference == pytest.approx(float(np.mean(expected)), rel=1e-3)
    assert found.share_changed == pytest.approx(float(np.mean(expected > 2.3)), abs=0.01)


def test_equal_pictures_do_not_differ() -> None:
    a = np.random.default_rng(1).integers(0, 256, (8, 8, 3), dtype=np.uint8)
    found = handoff.difference(handoff.colour_distance(a, a.copy()))
    assert (found.share_changed, found.mean_difference, visible(a, a.copy()).any()) == (0.0, 0.0, False)


def test_the_share_is_that_of_visibly_changed_pixels() -> None:
    a = np.full((10, 10, 3), 120, np.uint8)
    b = a.copy()
    b[:3] = 160
    b[9] = 121  # one code of grey is 0.4 in L*, under the just noticeable 2.3 of Mahy et al. 1994 (from memory)
    found = handoff.difference(handoff.colour_distance(a, b))
    assert found.share_changed == pytest.approx(0.3)
    assert visible(a, b)[:3].all() and not visible(a, b)[3:].any()


def test_pictures_of_two_sizes_are_an_error() -> None:
    with pytest.raises(ValueError, match="cannot be compared"):
        handoff.difference(handoff.colour_distance(np.zeros((2, 2, 3), np.uint8), np.zeros((2, 3, 3), np.uint8)))


def test_the_picture_marks_the_changed_place_and_is_calm_elsewhere() -> None:
    a = np.full((10, 10, 3), 200, np.uint8)
    b = a.copy()
    b[2:5, 2:5] = (20, 90, 200)
    picture = handoff.difference_picture(a, handoff.colour_distance(a, b)).astype(int)
    marked = picture[..., 0] - picture[..., 2] > 40
    assert np.array_equal(marked, visible(a, b))
    assert picture[~marked].max() <= 110
