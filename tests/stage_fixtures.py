"""What the tests of the four stages share: the fast libraries on and off, a reference resize, and kinds of art."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from keyturn.shop import fast_libraries


@pytest.fixture(params=["quick", "plain"])
def libraries(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """ "quick" or "plain": whether the fast libraries are available."""
    if request.param == "plain":
        monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    else:
        for name in (fast_libraries.DEFLATE, fast_libraries.RESIZE, fast_libraries.DECODE):
            pytest.importorskip(name)
    return str(request.param)


def _along(pixels: NDArray[np.float64], low: float, high: float, length: int) -> NDArray[np.float64]:
    step = (high - low) / length
    widen = max(step, 1.0)
    x = (np.arange(len(pixels)) + 0.5 - low - (np.arange(length)[:, None] + 0.5) * step) / widen
    weights = np.where(np.abs(x) < 3, np.sinc(x) * np.sinc(x / 3), 0)
    return np.tensordot(weights / weights.sum(1, keepdims=True), pixels, 1)


@pytest.fixture
def lanczos() -> Callable[..., NDArray[np.float64]]:
    """lanczos(pixels (H, W, C), (left, top, right, bottom), (wide, high)) by the kernel's definition,
    L(x) = sinc(x) sinc(x / 3), widened when shrinking; nothing is rounded or cut off."""

    def resize(
        pixels: NDArray[np.float64], crop: tuple[float, float, float, float], size: tuple[int, int]
    ) -> NDArray[np.float64]:
        tall = _along(pixels, crop[1], crop[3], size[1])
        return _along(tall.swapaxes(0, 1), crop[0], crop[2], size[0]).swapaxes(0, 1)

    return resize


SIZE = (384, 512)


def arts() -> dict[str, Image.Image]:
    """Art of the kinds a shop sees: grain like a photograph's, a glow, drawn shapes, one colour."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    glow = np.clip(255 - np.hypot(x - 192, y - 256), 0, 255)[..., None] * [1, 0.6, 0.2]
    grain = np.clip(glow + np.random.default_rng(1).normal(0, 9, (*SIZE[::-1], 3)), 0, 255)
    drawn = Image.new("RGB", SIZE, (11, 29, 42))
    ImageDraw.Draw(drawn).ellipse((40, 120, 320, 400), fill=(240, 200, 20))
    lettering = Image.new("RGB", SIZE, (250, 248, 240))
    for row in range(20):
        words = "the mobile library of Fern Hollow " * 2
        ImageDraw.Draw(lettering).text((10, 25 * row), words, fill=(row * 12, 0, 0), font_size=18)
    return {
        "grain": Image.fromarray(grain.astype(np.uint8)),
        "glow": Image.fromarray(glow.astype(np.uint8)),
        "grey grain": Image.fromarray(grain.astype(np.uint8)).convert("L").convert("RGB"),
        "few colours": Image.fromarray(grain.astype(np.uint8)).quantize(200).convert("RGB"),
        "lettering": lettering,
        "drawn": drawn,
        "plain": Image.new("RGB", SIZE, (0, 0, 0)),
        "column": Image.new("RGB", (1, 64), (1, 2, 3)),
    }


def loaded_with_metadata(image: Image.Image) -> Image.Image:
    exif = Image.Exif()
    exif[0x010E] = "where the van is parked"
    image.info |= {
        "exif": exif.tobytes(),
        "icc_profile": b"profile",
        "dpi": (300, 300),
        "comment": b"a comment",
        "transparency": (0, 0, 0),
        "gamma": 1.0,
        "xmp": b"<xmp/>",
    }
    return image
