"""Codes read from film frames."""

from __future__ import annotations

import numpy as np
import pytest

from calibrate.code_samples import FILM, LAYOUT, PANEL, filmed, grey
from calibrate.simulated_camera import Camera, Disturbed, Light, Pose
from keyturn.calibrate.code_reading import CodeReader
from keyturn.calibrate.film_frames import SURE

READER = CodeReader(LAYOUT)


@pytest.mark.parametrize(
    "light",
    [Light(), Light(gain=4), Light(gain=0.2), Light(noise=10), Light(blur_px=1.2), Light(ambient=0.1)],
    ids=["usual", "bright", "dark", "noise", "blur", "daylight"],
)
def test_the_number_is_read(light: Light) -> None:
    seen, screen = filmed(188, light=light)
    read = READER.read(seen, screen)
    assert read is not None
    assert (read.code.fps, read.code.by_eye, read.code.number) == (10, False, 188)
    assert read.confidence >= SURE and read.bright > read.dark + 20


def test_a_blend_of_two_frames_is_read_as_one_of_them_or_not_at_all() -> None:
    camera = Camera(Pose(share=0.9), Light(exposure_s=0.03, readout_s=0.01), Disturbed(), PANEL, FILM)
    numbers = set()
    for at_s in np.linspace(-0.05, 0.05, 40):
        shown = [(-1.0, "a", grey(99)), (0.0, "b", grey(100))]
        read = READER.read(camera.picture(float(at_s), shown), camera.screen)
        if read and read.confidence >= SURE:
            numbers.add(read.code.number)
    assert numbers == {99, 100}


def test_where_the_screen_is_not_nothing_is_read() -> None:
    chance = np.random.default_rng(0)
    for _ in range(50):
        noise = chance.integers(0, 256, (270, 480)).astype(np.uint8)
        assert READER.read(noise, np.diag([1.1, 0.85, 1.0])) is None
    seen, screen = filmed(188)
    assert READER.read(seen, screen @ np.array([[1, 0, 40], [0, 1, 0], [0, 0, 1.0]])) is None
