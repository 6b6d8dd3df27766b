"""16-bit colour seen in the strip of fine steps."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from calibrate.code_samples import FILM, LAYOUT, PANEL, pictures
from calibrate.simulated_camera import Camera, Disturbed, Light, Pose
from keyturn.calibrate.fine_steps import FEWEST, StepSums


def sums(*, sixteen: bool, frames: int = 2 * FEWEST, glare: float = 0.0) -> StepSums:
    """Film a frame as the panel shows it. RGB565 keeps the highest 5, 6 and 5 bits."""
    picture = np.asarray(pictures().figure(9))
    if sixteen:
        picture = picture & np.array([0xF8, 0xFC, 0xF8], np.uint8)
    grey = Image.fromarray(picture).convert("L")
    disturbed = Disturbed(glare_share=0.2 if glare else 0.0, glare_light=glare)
    camera, found = Camera(Pose(share=0.9), Light(noise=3), disturbed, PANEL, FILM), StepSums(LAYOUT)
    for _ in range(frames):
        found.add(camera.picture(0.0, [(-1.0, "", grey)]), camera.screen)
    return found


@pytest.mark.parametrize("sixteen", [True, False])
def test_a_16_bit_screen_shows_no_fine_steps(sixteen: bool) -> None:
    assert sums(sixteen=sixteen).sixteen_bits() is sixteen


def test_few_frames_or_much_glare_tell_nothing() -> None:
    assert sums(sixteen=True, frames=FEWEST - 1).sixteen_bits() is None
    camera = StepSums(LAYOUT)
    for _ in range(2 * FEWEST):
        camera.add(np.full(FILM[::-1], 255, np.uint8), np.eye(3))
    assert camera.sixteen_bits() is None
