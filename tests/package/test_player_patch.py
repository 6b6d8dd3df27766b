"""One picture of the player: whole where it is all new, the same whoever decodes its frame."""

from __future__ import annotations

import io

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from keyturn.package.player_patch import PictureJob, make_picture
from keyturn.shop import fast_libraries
from keyturn.shop.fast_libraries import library


def test_a_picture_that_is_all_new_needs_no_base() -> None:
    def png(seed: int) -> bytes:
        noise: NDArray[np.uint8] = np.random.default_rng(seed).integers(0, 256, (60, 40, 3), dtype=np.uint8)
        file = io.BytesIO()
        Image.fromarray(noise).save(file, "PNG")
        return file.getvalue()

    done = make_picture(PictureJob(png(1), png(2), None, 80))
    assert done.at is None and done.size == (40, 60)


def test_a_picture_is_the_same_whichever_library_decodes_its_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    """Against Pillow's own decoder, which reads the frame where kornia-rs is missing."""
    buffer = io.BytesIO()
    Image.linear_gradient("L").convert("RGB").rotate(30).save(buffer, "PNG")
    job = PictureJob(buffer.getvalue(), None, 160, 75)
    quickly = make_picture(job)
    monkeypatch.setattr(
        fast_libraries, "library", lambda name: None if name == fast_libraries.DECODE else library(name)
    )
    assert make_picture(job) == quickly
