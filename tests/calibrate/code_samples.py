"""A calibration picture in a film frame whose camera is known, for the tests of finding and reading."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calibrate.simulated_camera import Camera, Disturbed, Light, Pose
from keyturn.calibrate.code_layout import CodeLayout
from keyturn.calibrate.figures import Count, CountPictures

PANEL, FILM = (400, 300), (480, 270)
LAYOUT = CodeLayout(PANEL)
TILTED = Pose(share=0.8, yaw=25, pitch=-15, roll=3, across=0.4)


@cache
def pictures() -> CountPictures:
    return CountPictures(Count("Fern Hollow", PANEL, 10, 300))


def grey(number: int) -> Image.Image:
    """Return the picture of a frame of the stick."""
    return pictures().figure(number).convert("L")


def filmed(
    number: int, pose: Pose = TILTED, light: Light | None = None, disturbed: Disturbed | None = None, at_s: float = 0.0
) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Return a film frame of the stick's frame `number`, and where the screen is in it."""
    camera = Camera(pose, light or Light(), disturbed or Disturbed(), PANEL, FILM)
    return camera.picture(at_s, [(-9.0, str(number), grey(number))]), camera.screen
