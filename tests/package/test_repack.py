"""Files made smaller: without loss to the pixel, or with a loss that is measured."""

from __future__ import annotations

import io
import warnings

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from skimage.metrics import structural_similarity

from keyturn.eye import cielab, loss, luminance
from keyturn.package import jpeg_and_webp
from keyturn.package.fit_size import PHOTOGRAPH_QUALITY as QUALITY
from keyturn.package.repack import Recode, recode
from keyturn.png import palette, png_writer

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour

SIZE = (192, 256)


def photograph(grain: float = 2.0) -> NDArray[np.uint8]:
    """Light with detail at every scale (1/f) and a sensor's grain."""
    dice = np.random.default_rng(5)
    made = np.zeros((*SIZE[::-1], 3))
    for octave in range(1, 7):
        small = dice.integers(0, 256, (2**octave, 2**octave, 3), dtype=np.uint8)
        layer = np.asarray(Image.fromarray(small).resize(SIZE, Image.Resampling.BICUBIC)).astype(float)
        grey = layer.mean(-1, keepdims=True)
        made += (grey + 0.3 * (layer - grey) - 128) * 0.6**octave
    made = 120 + made / made.std() * 45 + dice.normal(0, grain, made.shape)
    return np.clip(made, 0, 255).astype(np.uint8)


def drawn() -> NDArray[np.uint8]:
    image = Image.new("RGB", SIZE, (11, 29, 42))
    draw = ImageDraw.Draw(image)
    for row in range(8):
        draw.text((8, 30 * row), "FERN HOLLOW", fill=(240, 220 - 9 * row, 30), font_size=24)
    return np.asarray(image)


def pixels_of(data: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


@pytest.mark.parametrize("pixels", [photograph(), drawn()], ids=["photograph", "drawn"])
def test_harder_is_smaller_or_as_it_was_and_the_same_to_the_pixel(pixels: NDArray[np.uint8], libraries: str) -> None:
    before = png_writer.png(Image.fromarray(pixels))
    after = recode(Recode(before, None, "0001.png"))
    assert len(after.data) <= len(before) and after.lost == 0
    assert np.array_equal(pixels_of(after.data), pixels)
    assert after.data[24:29] == before[24:29], "depth, colour type and interlace stay (ISO 15948, 11.2.2)"
    assert after.data == recode(Recode(before, None, "0002.png")).data


def test_harder_finds_something_in_drawn_art() -> None:
    before = png_writer.png(Image.fromarray(drawn()))
    assert len(recode(Recode(before, None, "")).data) < len(before)


def test_a_palette_stays_one() -> None:
    before = palette.png(np.asarray(Image.fromarray(drawn()).quantize(12).convert("RGB")))
    assert before is not None
    after = recode(Recode(before, None, "")).data
    assert after[25] == 3 and np.array_equal(pixels_of(after), pixels_of(before))


def test_a_photograph_at_the_usual_quality_cannot_be_told_from_what_it_was() -> None:
    """Two outside measures beside our own: SSIM (Wang and others 2004) by scikit-image, CIEDE2000 of the light in
    squares of 4 pixels by colour-science; below 1 it is not noticeable (common practice)."""
    before = photograph()
    done = recode(Recode(png_writer.png(Image.fromarray(before)), QUALITY, ""))
    after = pixels_of(done.data)
    assert done.lost < cielab.NOTICEABLE
    assert structural_similarity(before, after, channel_axis=-1, data_range=255) > 0.95
    apart = colour.delta_E(_lab(before), _lab(after), method="CIE 2000")
    assert np.percentile(apart, 99) < 1.0
    assert len(done.data) < 0.7 * len(png_writer.png(Image.fromarray(before)))


def _lab(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    """By colour-science, from the mean light of squares of 4 x 4 pixels."""
    light = colour.cctf_decoding(pixels / 255, function="sRGB")
    high, wide = pixels.shape[0] // 4, pixels.shape[1] // 4
    means = light[: 4 * high, : 4 * wide].reshape(high, 4, wide, 4, 3).mean((1, 3))
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return np.asarray(colour.XYZ_to_Lab(colour.RGB_to_XYZ(means, "sRGB"), d65))


@pytest.mark.parametrize("quality", [92, 84, 60, 20])
@pytest.mark.parametrize("pixels", [photograph(), drawn()], ids=["photograph", "drawn"])
def test_what_is_said_to_be_lost_is_what_colour_science_measures(pixels: NDArray[np.uint8], quality: int) -> None:
    """CIE 1976 difference of the light in squares of 4 pixels, the largest."""
    after = np.asarray(Image.open(io.BytesIO(jpeg_and_webp.jpeg(Image.fromarray(pixels), quality))))
    apart = colour.delta_E(_lab(pixels), _lab(after), method="CIE 1976")
    assert loss.lost(pixels, after) == pytest.approx(float(apart.max()), abs=0.05)


def test_drawn_edges_are_seen_to_suffer() -> None:
    assert recode(Recode(png_writer.png(Image.fromarray(drawn())), QUALITY, "")).lost > cielab.NOTICEABLE


def test_equal_pictures_lost_nothing_and_grain_alone_is_not_counted() -> None:
    pixels = np.clip(photograph(0), 60, 200)  # what is added and taken away can then be both
    assert loss.lost(pixels, pixels.copy()) == 0
    fine = np.where(np.indices(SIZE[::-1]).sum(0)[..., None] % 2, 3, -3)  # a checkerboard: no square of 4 is lighter
    shifted = (pixels.astype(int) + fine).astype(np.uint8)
    assert loss.lost(pixels, shifted) < 0.5
    with pytest.raises(ValueError, match="cannot be compared"):
        loss.lost(pixels, pixels[1:])
    assert luminance.cells(pixels, loss.CELL_PX).shape == (64, 48, 3)
