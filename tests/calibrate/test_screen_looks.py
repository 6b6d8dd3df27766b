"""Film frames looked at one after the other."""

from __future__ import annotations

import numpy as np
from PIL import Image

from calibrate.code_samples import FILM, LAYOUT, PANEL, grey
from calibrate.simulated_camera import Camera, Disturbed, Light, Pose
from keyturn.calibrate.grey_frames import GreyFrame
from keyturn.calibrate.screen_looks import ScreenLooks


def frames(camera: Camera, shown: list[Image.Image]) -> list[GreyFrame]:
    return [
        GreyFrame(at / 30, camera.picture(at / 30, [(-1.0, str(id(picture)), picture)]))
        for at, picture in enumerate(shown)
    ]


def test_frames_before_the_screen_was_found_are_read_too() -> None:
    """It is looked for in the first frame and ten later: what came between is read backwards from there."""
    dark = Image.new("L", PANEL)
    counted = [grey(1 + number // 3) for number in range(12)]
    camera = Camera(Pose(share=0.9, yaw=10), Light(), Disturbed(shake_px=3), PANEL, FILM)
    looker = ScreenLooks(LAYOUT)
    looks = list(looker.at(frames(camera, [dark] * 4 + counted)))
    assert [look.at_s for look in looks] == [at / 30 for at in range(16)]
    assert [look.read.code.number if look.read else None for look in looks] == [None] * 4 + [
        1 + n // 3 for n in range(12)
    ]
    assert all(look.rough is not None and 0.8 < look.tall < 1.0 for look in looks)
    assert looker.corners is not None and looker.corners.min() >= 0 and looker.corners.max() <= 1


def test_a_screen_that_was_moved_far_is_found_again() -> None:
    before = Camera(Pose(share=0.5, across=-1), Light(), Disturbed(), PANEL, FILM)
    after = Camera(Pose(share=0.5, across=1), Light(), Disturbed(), PANEL, FILM)
    looked = frames(before, [grey(5)] * 3) + [
        GreyFrame(frame.at_s + 0.1, frame.grey) for frame in frames(after, [grey(6)] * 25)
    ]
    looks = list(ScreenLooks(LAYOUT).at(looked))
    assert looks[2].read and looks[2].read.code.number == 5
    assert looks[-1].read and looks[-1].read.code.number == 6


def test_a_film_without_the_screen_has_a_look_for_each_frame_all_the_same() -> None:
    empty = [GreyFrame(at / 30, np.full((90, 160), 30, np.uint8)) for at in range(60)]
    looks = list(ScreenLooks(LAYOUT).at(empty))
    assert len(looks) == 60 and not any(look.read or look.marks for look in looks)
