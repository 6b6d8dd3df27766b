"""The screen followed from frame to frame."""

from __future__ import annotations

import numpy as np
import pytest

from calibrate.code_samples import LAYOUT, filmed
from calibrate.simulated_camera import Disturbed
from keyturn.calibrate import homography
from keyturn.calibrate.screen_tracking import ScreenTracker

TRACKER = ScreenTracker(LAYOUT)


@pytest.mark.parametrize("shift", [(0, 0), (5, -4), (-9, 8)])
def test_it_is_found_again_to_a_fraction_of_a_pixel(shift: tuple[int, int]) -> None:
    grey, screen = filmed(50)
    before = np.array([[1, 0.01, shift[0]], [-0.01, 1, shift[1]], [0, 0, 1]]) @ screen
    tracked = TRACKER.follow(grey, before)
    off = homography.through(tracked.screen, LAYOUT.marks) - homography.through(screen, LAYOUT.marks)
    assert tracked.marks == 6 and np.abs(off).max() < 1.0


def test_marks_behind_a_hand_are_left_out() -> None:
    grey, screen = filmed(50, disturbed=Disturbed(hand_at_s=-0.2, hand_s=0.5, seed=0))
    tracked = TRACKER.follow(grey, screen)
    off = homography.through(tracked.screen, LAYOUT.marks) - homography.through(screen, LAYOUT.marks)
    assert 2 <= tracked.marks < 6 and np.abs(off).max() < 3


def test_without_a_mark_it_stays_where_it_was() -> None:
    _, screen = filmed(50)
    tracked = TRACKER.follow(np.full((270, 480), 20, np.uint8), screen)
    assert tracked.marks == 0 and (tracked.screen == screen).all()
