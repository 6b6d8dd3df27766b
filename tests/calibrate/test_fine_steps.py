"""16-bit colour seen in the strip of fine steps."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from calibrate.code_samples import FILM, LAYOUT, PANEL, pictures
from calibrate.simulated_camera import Camera, Disturbed, Light, Pose
from keyturn.calibrate import fine_steps
from keyturn.calibrate.code_layout import STRIP_STEPS
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


class Strips:
    """Film frames of which only the strip's fields count: the light of each field in each frame."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.light: list[list[float]] = []
        monkeypatch.setattr(
            fine_steps.sampling, "light", lambda grey, at: np.repeat(self.light.pop(0), len(at) // len(STRIP_STEPS))
        )

    def told(self, *stretches: tuple[float, float]) -> bool | None:
        """Return what is told of stretches of frames, each with its fine and its coarse step in levels."""
        found = StepSums(LAYOUT)
        for fine, coarse in stretches:
            for _ in range(FEWEST):
                self.light.append([100.0 + {"A": 0.0, "F": fine, "S": coarse}[step] for step in STRIP_STEPS])
                found.add(np.zeros((1, 1), np.uint8), np.eye(3))
        return found.sixteen_bits()


def test_steps_larger_than_the_stick_draws_are_a_reflection(monkeypatch: pytest.MonkeyPatch) -> None:
    """The coarse step is 5.7 levels of grey (ITU-R BT.601's weights); a phone's exposure does not triple it."""
    strips = Strips(monkeypatch)
    assert strips.told((0.0, 5.7), (0.0, 5.7), (0.0, 5.7)) is True
    assert strips.told((0.0, 17.0), (0.0, 17.0), (0.0, 17.0)) is None


def test_a_film_whose_parts_disagree_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    strips = Strips(monkeypatch)
    assert strips.told((4.6, 5.7), (4.6, 5.7), (4.6, 5.7)) is False
    assert strips.told((0.0, 5.7), (0.0, 5.7), (4.6, 5.7)) is None
