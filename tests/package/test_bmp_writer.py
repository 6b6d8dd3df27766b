"""Logos as BMP, read back by ImageMagick and Pillow, their headers by Microsoft's definitions of them."""

from __future__ import annotations

import io
import itertools
import struct
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye import banding
from keyturn.package.bmp_writer import bmp
from keyturn.shop.bmp_layout import BmpHeader, BmpLayout

LAYOUTS = [
    BmpLayout(bits, down, header)  # type: ignore[arg-type]
    for bits, down, header in itertools.product((16, 24), (False, True), ("info", "v4"))
]
"""Every kind that a profile can ask for."""


def art(width: int = 31, height: int = 20) -> NDArray[np.uint8]:
    """A picture that is neither even nor symmetric, with rows that need filling up."""
    wide = np.linspace(0, 255, width, dtype=np.uint8)
    high = np.linspace(255, 0, height, dtype=np.uint8)
    both = np.stack([np.tile(wide, (height, 1)), np.tile(high[:, None], (1, width)), np.full((height, width), 60)], -1)
    both[2, 3] = (255, 0, 0)
    return both.astype(np.uint8)


def as_shown(layout: BmpLayout) -> NDArray[np.uint8]:
    return banding.dithered(art()) if layout.bits == 16 else art()


@pytest.mark.system
@pytest.mark.parametrize("layout", LAYOUTS, ids=str)
def test_imagemagick_reads_every_kind(layout: BmpLayout, tmp_path: Path, needs: Callable[[str], str]) -> None:
    path = tmp_path / "logo.bmp"
    path.write_bytes(bmp(as_shown(layout), layout))
    size = ["-format", "%m %w %h", str(path)]
    said = subprocess.run([needs("identify"), *size], capture_output=True, text=True, check=True)
    assert (said.stdout.split()[0][:3], said.stdout.split()[1:], said.stderr) == ("BMP", ["31", "20"], "")
    raw = subprocess.run([needs("convert"), str(path), "-depth", "8", "rgb:-"], capture_output=True, check=True)
    read = np.frombuffer(raw.stdout, np.uint8).reshape(20, 31, 3).astype(int)
    wanted = as_shown(layout).astype(int)
    if layout.bits == 24:
        assert np.array_equal(read, wanted)
    else:  # it widens five bits to round(255 v / 31), a panel by repeating the high bits: codes of 565 are the same
        assert np.array_equal(read // [8, 4, 8], wanted // [8, 4, 8])
        assert np.abs(read - wanted).max() <= 2


@pytest.mark.parametrize("layout", LAYOUTS, ids=str)
def test_pillow_reads_every_kind(layout: BmpLayout) -> None:
    with Image.open(io.BytesIO(bmp(as_shown(layout), layout))) as picture:
        read = np.asarray(picture.convert("RGB")).astype(int)
    assert np.abs(read - as_shown(layout)).max() <= (2 if layout.bits == 16 else 0)


@pytest.mark.parametrize("layout", LAYOUTS, ids=str)
def test_headers_are_as_microsoft_defines_them(layout: BmpLayout) -> None:
    """BITMAPFILEHEADER, BITMAPINFOHEADER and BITMAPV4HEADER, Windows GDI reference."""
    data = bmp(as_shown(layout), layout)
    kind, size, zero, start = struct.unpack_from("<2sIII", data)
    assert (kind, size, zero) == (b"BM", len(data), 0)
    length, width, height, planes, bits, compression, image = struct.unpack_from("<IiiHHII", data, 14)
    assert (length, width, planes, bits) == ({"info": 40, "v4": 108}[layout.header], 31, 1, layout.bits)
    assert height == (-20 if layout.top_down else 20)  # "If biHeight is negative, the bitmap is a top-down DIB"
    assert image == len(data) - start
    masks = struct.unpack_from("<3I", data, 54)
    if layout.bits == 16:
        assert (compression, masks) == (3, (0xF800, 0x07E0, 0x001F))  # BI_BITFIELDS
    else:
        assert compression == 0  # BI_RGB
    if layout.header == "v4":
        assert (start, struct.unpack_from("<I", data, 70)[0]) == (122, 0x73524742)  # bV4CSType, LCS_sRGB
    else:
        assert start == (66 if layout.bits == 16 else 54)


def test_colours_that_565_shows_are_kept_to_the_bit() -> None:
    """All 65,536 of them, each as the word that Microsoft's masks make of it."""
    codes = np.arange(65536)
    parts = [codes >> 11, codes >> 5 & 63, codes & 31]
    pixels = np.stack([banding.SHOWN[c][parts[c]] for c in range(3)], -1).reshape(256, 256, 3)
    data = bmp(pixels, BmpLayout(16, True, "info"))
    assert np.array_equal(np.frombuffer(data, "<u2", offset=66), codes)


def test_zeros_fill_a_file_up_to_its_exact_size() -> None:
    header: BmpHeader = "info"
    plain, filled = (bmp(art(), BmpLayout(24, False, header, exact)) for exact in (0, 4096))
    assert len(filled) == 4096 and struct.unpack_from("<I", filled, 2) == (4096,)
    assert filled[6:] == plain[6:] + bytes(4096 - len(plain))
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(filled))), art())
