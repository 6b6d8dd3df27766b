"""Squares like the finder marks, against scikit-image's matching and against where the camera put them."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.feature import match_template

from calibrate.code_samples import LAYOUT, filmed
from calibrate.simulated_camera import Pose
from keyturn.calibrate import homography, mark_finding
from keyturn.calibrate.mark_finding import _likeness


def test_the_likeness_is_scikit_images_normalized_cross_correlation() -> None:
    grey, _ = filmed(188)
    ring = np.maximum(*np.abs(np.mgrid[-10:11, -10:11]))
    mark = ((ring <= 7) & (ring > 4)) | (ring <= 1)
    theirs = match_template(grey.astype(float), mark.astype(float))
    ours = _likeness(grey)
    clear = np.abs(theirs) > 0.4  # where there is next to nothing to see, ours is lower on purpose
    assert ours[clear] == pytest.approx(theirs[clear], abs=0.02)


@pytest.mark.parametrize(
    "pose", [Pose(share=0.5), Pose(share=0.9, yaw=20, pitch=20), Pose(share=0.95, roll=4)], ids=str
)
def test_the_marks_are_among_the_likest_places(pose: Pose) -> None:
    grey, screen = filmed(42, pose)
    found = mark_finding.candidates(grey, 12)
    marks = homography.through(screen, LAYOUT.marks)
    for x, y in marks:
        assert min(max(abs(c.x - x), abs(c.y - y)) for c in found) < 3
