"""Finished files, by what other programs make of them."""

from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from keyturn.package import jpeg_and_webp
from keyturn.png import png_writer

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


@pytest.mark.system
@pytest.mark.parametrize("kind", arts())
def test_pngcheck_finds_plain_rgb_and_nothing_else(tmp_path: Path, kind: str, needs: Callable[[str], str]) -> None:
    image = loaded_with_metadata(arts()[kind])
    path = tmp_path / "0001.png"
    path.write_bytes(png_writer.png(image))
    told = subprocess.run([needs("pngcheck"), "-v", path], capture_output=True, text=True, check=True).stdout
    assert "{} x {} image, 24-bit RGB, non-interlaced".format(*image.size) in told
    assert set(re.findall(r"chunk (\w+) at", told)) == {"IHDR", "IDAT", "IEND"}
    assert "No errors detected" in told


@pytest.mark.parametrize("kind", arts())
def test_png_keeps_every_pixel_and_the_same_art_gives_the_same_bytes(kind: str, libraries: str) -> None:
    image = arts()[kind]
    data = png_writer.png(image)
    assert (np.asarray(Image.open(io.BytesIO(data))) == np.asarray(image)).all()
    assert data == png_writer.png(loaded_with_metadata(arts()[kind]))


@pytest.mark.parametrize("kind", arts())
def test_files_are_as_small_as_pillows_at_the_usual_level(kind: str, libraries: str) -> None:
    image = arts()[kind]
    file = io.BytesIO()
    image.save(file, "PNG", compress_level=6)
    assert len(png_writer.png(image)) <= 1.05 * len(file.getvalue())


def test_the_size_foretold_is_about_the_size_made() -> None:
    for kind, image in arts().items():
        foretold, made = png_writer.packed_size(np.asarray(image)), len(png_writer.png(image))
        assert made / 2 < foretold + 200 and foretold < 3 * made, kind


def test_jpeg_is_baseline_full_colour_and_bare() -> None:
    data = jpeg_and_webp.jpeg(loaded_with_metadata(arts()["drawn"]))
    markers = segments(data)
    # ITU-T T.81, table B.1: C0 is the baseline frame; E1, E2 and FE would be EXIF, a profile and a comment.
    assert 0xC0 in markers and not set(markers) & {0xC1, 0xC2, 0xE1, 0xE2, 0xFE}
    frame = markers[0xC0]
    assert [frame[7 + 3 * i] for i in range(3)] == [0x11] * 3  # sampling 1 x 1 of each component: 4:4:4
    apart = np.asarray(Image.open(io.BytesIO(data))).astype(int) - np.asarray(arts()["drawn"])
    assert np.abs(apart).mean() < 1.5
    assert data == jpeg_and_webp.jpeg(arts()["drawn"])
    assert len(jpeg_and_webp.jpeg(arts()["grain"], quality=60)) < len(jpeg_and_webp.jpeg(arts()["grain"]))


def segments(data: bytes) -> dict[int, bytes]:
    """Marker segments up to the start of the scan (ITU-T T.81, annex B)."""
    found, at = {}, 2
    while data[at + 1] != 0xDA:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        found[data[at + 1]] = data[at + 4 : at + 2 + length]
        at += 2 + length
    return found


def test_thumbnails_keep_their_shape_and_never_grow() -> None:
    for source, wanted in [((768, 1024), (90, 120)), ((1024, 600), (120, 70)), ((60, 40), (60, 40))]:
        small = Image.open(io.BytesIO(jpeg_and_webp.thumbnail(Image.new("RGB", source, (200, 30, 30)), 120)))
        assert (small.format, small.size) == ("WEBP", wanted)
        assert np.abs(np.asarray(small.convert("RGB"))[5, 5].astype(int) - (200, 30, 30)).max() < 8
    image = loaded_with_metadata(arts()["glow"])
    data = jpeg_and_webp.thumbnail(image, 64)
    assert image.size == SIZE and not {b"EXIF", b"ICCP", b"XMP "} & {data[i : i + 4] for i in range(len(data))}


def test_only_finished_frames_are_taken() -> None:
    for mode in ("RGBA", "L", "P", "CMYK"):
        for write in (png_writer.png, jpeg_and_webp.jpeg, lambda image: jpeg_and_webp.thumbnail(image, 20)):
            with pytest.raises(ValueError, match="is RGB, not"):
                write(Image.new(mode, (8, 8)))
