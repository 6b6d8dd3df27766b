"""Maps of a plane, against scikit-image's."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.transform import AffineTransform, ProjectiveTransform, SimilarityTransform

from keyturn.calibrate import homography

PANEL = np.array([(0, 0), (400, 0), (400, 300), (0, 300), (0, 150), (400, 150)], float)
SEEN = np.array([(31, 20), (420, 44), (401, 250), (50, 230), (40, 120), (411, 143)], float)


def test_four_points_give_the_map_that_scikit_image_gives() -> None:
    ours = homography.of_four(PANEL[None, :4], SEEN[None, :4])[0]
    theirs = ProjectiveTransform.from_estimate(PANEL[:4], SEEN[:4])
    assert homography.through(ours, PANEL) == pytest.approx(theirs(PANEL), abs=1e-6)
    assert homography.through(ours, PANEL[:4]) == pytest.approx(SEEN[:4], abs=1e-6)


def test_three_points_in_a_line_give_no_number() -> None:
    line = np.array([[(0, 0), (1, 0), (2, 0), (3, 3)]], float)
    assert not np.isfinite(homography.of_four(line, SEEN[None, :4])[:, :2]).any()


def test_more_points_are_fitted_as_scikit_image_fits_them() -> None:
    exact = homography.through(homography.of_four(PANEL[None, :4], SEEN[None, :4])[0], PANEL)
    ours = homography.fitted(PANEL, exact, np.ones(6))
    assert homography.through(ours, PANEL) == pytest.approx(exact, abs=1e-6)
    noisy = exact + np.random.default_rng(1).normal(0, 0.3, exact.shape)
    ours, theirs = homography.fitted(PANEL, noisy, np.ones(6)), ProjectiveTransform.from_estimate(PANEL, noisy)
    assert homography.through(ours, PANEL) == pytest.approx(theirs(PANEL), abs=0.2)


@pytest.mark.parametrize(
    ("points", "movement"),
    [
        (3, AffineTransform(scale=(1.02, 0.99), rotation=0.02, translation=(4, -3))),
        (2, SimilarityTransform(scale=1.02, rotation=0.02, translation=(4, -3))),
        (1, SimilarityTransform(translation=(4, -3))),
        (0, SimilarityTransform()),
    ],
)
def test_fewer_points_move_the_map_as_far_as_they_tell(points: int, movement: AffineTransform) -> None:
    before = homography.of_four(PANEL[None, :4], SEEN[None, :4])[0]
    wanted = movement(homography.through(before, PANEL))
    ours = homography.moved(before, PANEL[:points], wanted[:points])
    assert homography.through(ours, PANEL) == pytest.approx(wanted, abs=1e-6)
