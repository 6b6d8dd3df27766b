"""The screen found in single film frames."""

from __future__ import annotations

import numpy as np
import pytest

from calibrate.code_samples import LAYOUT, filmed
from calibrate.simulated_camera import Disturbed, Pose
from keyturn.calibrate import homography
from keyturn.calibrate.code_reading import CodeReader
from keyturn.calibrate.screen_finding import ScreenFinder

FINDER = ScreenFinder(LAYOUT, CodeReader(LAYOUT))


@pytest.mark.parametrize(
    "pose", [Pose(share=0.6), Pose(share=0.7, yaw=35), Pose(share=0.95, pitch=-35, roll=4)], ids=str
)
def test_it_is_found_at_an_angle(pose: Pose) -> None:
    grey, screen = filmed(7, pose)
    sighting = FINDER.find(grey, 0.9)
    assert sighting is not None and sighting.read.code.number == 7
    off = homography.through(sighting.screen, LAYOUT.marks) - homography.through(screen, LAYOUT.marks)
    assert np.abs(off).max() < 3


def test_it_is_found_upside_down_and_with_glare_over_a_fifth_of_it() -> None:
    grey, _ = filmed(7, disturbed=Disturbed(glare_share=0.2, glare_light=1.0, seed=3))
    sighting = FINDER.find(np.ascontiguousarray(grey[::-1, ::-1]), 0.9)
    assert sighting is not None and sighting.read.code.number == 7


def test_noise_holds_no_screen() -> None:
    assert FINDER.find(np.random.default_rng(0).integers(0, 256, (270, 480)).astype(np.uint8), 0.9) is None
