"""Light between pixels, against SciPy's interpolation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from keyturn.calibrate import sampling

GREY = np.random.default_rng(0).integers(0, 256, (20, 30)).astype(np.uint8)


def test_light_is_that_of_the_four_pixels_around() -> None:
    points = np.random.default_rng(1).uniform((1, 1), (29, 19), (200, 2))
    theirs = map_coordinates(GREY.astype(float), [points[:, 1] - 0.5, points[:, 0] - 0.5], order=1)
    assert sampling.light(GREY, points) == pytest.approx(theirs, abs=0.01)


def test_outside_the_picture_it_is_the_nearest_edge_s() -> None:
    seen = sampling.light(GREY, np.array([(-50.0, 0.5), (500.0, 19.5)]))
    assert seen == pytest.approx([GREY[0, 0], GREY[19, 29]], abs=3)
    sampling.light(GREY, np.array([(np.nan, np.inf)]))
