"""Palette PNG: the same pixels by every decoder, and only where there are few enough colours."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from keyturn.flatten.frame_source import Source
from keyturn.normalize.fit import Fit
from keyturn.normalize.reading.headers import header
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.png import palette
from keyturn.radio.archive import Entry
from keyturn.radio.inspect import look
from keyturn.shop import rulebook

SIZE = (96, 128)


def of_colours(count: int, size: tuple[int, int] = SIZE) -> NDArray[np.uint8]:
    """Pixels with exactly `count` colours, scattered."""
    dice = np.random.default_rng(count)
    table = dice.permutation(1 << 24)[:count]
    places = np.concatenate([np.arange(count), dice.integers(0, count, size[0] * size[1] - count)])
    codes = table[dice.permutation(places)].reshape(size[::-1])
    return np.stack([codes >> 16, codes >> 8 & 255, codes & 255], -1).astype(np.uint8)


def drawn() -> NDArray[np.uint8]:
    image = Image.new("RGB", SIZE, (11, 29, 42))
    ImageDraw.Draw(image).ellipse((10, 20, 80, 90), fill=(240, 200, 20), outline=(255, 255, 255))
    return np.asarray(image)


@pytest.mark.parametrize("count", [1, 2, 3, 16, 17, 255, 256])
def test_pillow_reads_the_very_pixels(count: int, libraries: str) -> None:
    pixels = of_colours(count)
    data = palette.png(pixels)
    assert data is not None
    opened = Image.open(io.BytesIO(data))
    assert opened.mode == "P" and not opened.has_transparency_data
    assert np.array_equal(np.asarray(opened.convert("RGB")), pixels)


@pytest.mark.parametrize("count", [257, 300, 5000])
def test_more_colours_are_not_for_a_palette(count: int) -> None:
    assert palette.png(of_colours(count)) is None


def test_one_pixel_too_many_is_seen_wherever_it_lies() -> None:
    """A few rows are looked at first; the colour that is too many may be in none of them."""
    for y in (0, 1, 63, 126, 127):
        pixels = of_colours(256)
        pixels[y, 5] = next(c for c in ([1, 2, 3], [3, 2, 1]) if not (pixels == c).all(-1).any())
        colours = len(np.unique(pixels.reshape(-1, 3), axis=0))  # numpy's own count
        assert (palette.png(pixels) is None) == (colours > 256)


@given(st.integers(1, 40), st.integers(1, 40), st.integers(1, 300), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_any_small_picture_comes_back(wide: int, high: int, colours: int, dice: object) -> None:
    rng = np.random.default_rng(dice.getrandbits(32))  # type: ignore[attr-defined]
    table = rng.integers(0, 256, (colours, 3), dtype=np.uint8)
    pixels = table[rng.integers(0, colours, (high, wide))]
    data = palette.png(pixels)
    if data is None:
        assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 256
    else:
        assert np.array_equal(np.asarray(Image.open(io.BytesIO(data)).convert("RGB")), pixels)


@pytest.mark.system
@pytest.mark.parametrize("count", [2, 200, 256])
def test_pngcheck_finds_8_bit_palette_without_transparency(
    tmp_path: Path, count: int, needs: Callable[[str], str]
) -> None:
    path = tmp_path / "0001.png"
    path.write_bytes(palette.png(of_colours(count)) or b"")
    told = subprocess.run([needs("pngcheck"), "-v", path], capture_output=True, text=True, check=True).stdout
    assert "96 x 128 image, 8-bit palette, non-interlaced" in told and "No errors detected" in told
    assert [row.split()[1] for row in told.splitlines() if row.strip().startswith("chunk")] == [
        *("IHDR", "PLTE", "IDAT", "IEND")
    ]
    assert f"chunk PLTE at offset 0x00025, length {3 * count}: {count} palette entries" in told


@pytest.mark.system
@pytest.mark.parametrize(
    "command",
    [
        ["ffmpeg", "-v", "error", "-i", "IN", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"],
        ["convert", "IN", "-depth", "8", "rgb:-"],
    ],
)
def test_other_programs_read_the_very_pixels(tmp_path: Path, command: list[str], needs: Callable[[str], str]) -> None:
    """FFmpeg has its own PNG decoder; ImageMagick uses libpng, as radios' graphics libraries do."""
    needs(command[0])
    path = tmp_path / "0001.png"
    for pixels in (of_colours(256), of_colours(2), drawn()):
        path.write_bytes(palette.png(pixels) or b"")
        asked = [str(path) if step == "IN" else step for step in command]
        assert subprocess.run(asked, capture_output=True, check=True).stdout == pixels.tobytes()


def made(tmp_path: Path, pixels: NDArray[np.uint8], allowed: bool) -> bytes:
    path = tmp_path / "0001.png"
    Image.fromarray(pixels).save(path)
    view = Look(Fit(SIZE), (0, 0, 0), 24, "png", 6.0, 40, palette=allowed)
    return make_frame(FrameJob(Source(path, "0001.png"), view, rulebook.load().intake)).data


def test_a_frame_becomes_one_only_where_the_radio_takes_it_and_it_is_smaller(tmp_path: Path) -> None:
    """IHDR's colour type is byte 25 (ISO 15948, 11.2.2): 3 is indexed, 2 truecolour."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    glow = np.stack([(x + y) // 2] * 3, -1).astype(np.uint8)  # few colours, and yet rows' differences say it in less
    for pixels, allowed, kind in [(drawn(), False, 2), (drawn(), True, 3), (glow, True, 2)]:
        assert len(np.unique(pixels.reshape(-1, 3), axis=0)) <= 256
        data = made(tmp_path, pixels, allowed)
        assert data[25] == kind
        assert len(data) <= len(made(tmp_path, pixels, False))
        assert np.array_equal(np.asarray(Image.open(io.BytesIO(data)).convert("RGB")), pixels)


def test_a_radio_makes_nothing_of_it(tmp_path: Path) -> None:
    """No fault is found with a palette frame that has no transparency; tRNS makes it see-through (11.3.2)."""
    found = header(palette.png(drawn()) or b"")
    assert found is not None
    entry = Entry("part0/0001.png", False, *SIZE, found.interlaced, found.alpha, found.bits, found.kind)
    assert (found.alpha, found.interlaced, found.bits) == (False, False, 8)
    assert look([Entry("desc.txt", False), entry], b"96 128 10\np 0 0 part0\n").reasons == ()


def test_palettes_come_ready_only_for_players_that_keep_a_beat() -> None:
    """Which players draw a palette picture is from memory; the older ones are therefore not given any."""
    for radio in rulebook.load().radios.values():
        assert radio.firmware.palette == (radio.player.generation in ("third", "fourth")), radio.name
        assert not radio.logo.palette
