"""Stock logos: their format, depth and layout, as other programs and libraries wrote them."""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from keyturn.calibrate.stock_logo import StockLogo, read_logo
from keyturn.package.bmp_writer import bmp
from keyturn.shop.bmp_layout import BmpLayout
from keyturn.shop.wrong_use import WrongUse
from samples import examples

GRADIENT = ["-size", "48x64", "gradient:navy-orange", "-type", "TrueColor"]
TEST_CARD = ["-v", "error", "-f", "lavfi", "-i", "testsrc=size=48x64", "-frames:v", "1"]


def look(path: Path) -> StockLogo:
    return read_logo(path, 10)


@pytest.mark.parametrize(
    ("name", "how", "wanted"),
    [
        ("logo.png", {}, ("png", False)),
        ("logo.jpg", {}, ("jpeg", False)),
        ("start.bin", {"format": "PNG"}, ("png", False)),
        ("palette.png", {"palette": True}, ("png", True)),
    ],
)
def test_the_content_tells_the_format(tmp_path: Path, name: str, how: dict[str, Any], wanted: tuple[str, bool]) -> None:
    picture, path = Image.effect_noise((48, 64), 50), tmp_path / name
    picture = picture.quantize(16) if how.pop("palette", False) else picture.convert("RGB")
    picture.save(path, **how)
    assert look(path) == StockLogo(wanted[0], (48, 64), path.stat().st_size, palette=wanted[1])  # type: ignore[arg-type]


@pytest.mark.system
@pytest.mark.parametrize(
    ("program", "options", "bits", "header", "same"),
    [
        ("convert", [*GRADIENT, "-define", "bmp:format=bmp3"], 24, "info", True),
        ("convert", GRADIENT, 24, "v4", False),  # BITMAPV5HEADER
        ("convert", [*GRADIENT, "-define", "bmp:subtype=RGB565"], 16, "v4", False),
        ("ffmpeg", [*TEST_CARD, "-pix_fmt", "rgb565le"], 16, "info", True),
        ("ffmpeg", [*TEST_CARD, "-pix_fmt", "bgr24"], 24, "info", True),
    ],
)
def test_bmps_of_other_programs(
    tmp_path: Path, needs: Callable[[str], str], program: str, options: list[str], bits: int, header: str, same: bool
) -> None:
    path = tmp_path / "logo.bmp"
    subprocess.run([needs(program), *options, str(path)], check=True)
    seen = look(path)
    assert seen.bmp and (seen.size, seen.bmp.bits, seen.bmp.top_down) == ((48, 64), bits, False)
    assert (seen.bmp.header, seen.same_header, seen.bmp.exact_bytes) == (header, same, path.stat().st_size)


@pytest.mark.parametrize("header", ["info", "v4"])
@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("down", [False, True])
def test_what_is_written_is_seen(tmp_path: Path, header: Any, bits: Any, down: bool) -> None:
    """The writer is checked against ImageMagick and the header's definitions in its own test."""
    layout, path = BmpLayout(bits, down, header, 12_000), tmp_path / "logo.bmp"
    path.write_bytes(bmp(np.zeros((64, 48, 3), np.uint8), layout))
    assert look(path).bmp == layout and look(path).same_header


def made(length: int, bits: int, compression: int, width: int = 48, height: int = 64) -> bytes:
    """A BMP's headers by Microsoft's definitions, with room for all fields."""
    return struct.pack("<2sIIIIiiHHI", b"BM", 500, 0, 138, length, width, height, 1, bits, compression) + bytes(400)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"GIF89a" + bytes(90), "is no PNG, JPEG or BMP"),
        (b"BM", "breaks off in its header"),
        (made(99, 24, 0), "a header of 99 bytes"),
        (made(40, 32, 0), "a BMP of 32 bits without masks"),
        (made(40, 16, 0), "a BMP of 16 bits without masks"),
        (made(40, 16, 3), "a BMP of 16 bits with masks of its own"),
        (made(40, 8, 1), "a BMP of 8 bits compressed"),
        (made(40, 24, 0, width=0), "a BMP of 0 x 64 pixels"),
    ],
)
def test_logos_that_keyturn_cannot_make_the_like_of_are_named(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "logo.bin"
    path.write_bytes(data)
    with pytest.raises(WrongUse) as caught:
        look(path)
    assert says in caught.value.what and "leave --logo out" in caught.value.mend


@settings(max_examples=examples(2000), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.binary(max_size=200), st.sampled_from([b"", b"BM", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", made(40, 24, 0)[:54]])
)
def test_no_bytes_are_more_than_a_wrong_file(tmp_path: Path, rest: bytes, start: bytes) -> None:
    path = tmp_path / "logo.bin"
    path.write_bytes(start + rest)
    with suppress(WrongUse):
        assert min(look(path).size) > 0


def test_a_header_that_is_not_written_is_taken_for_the_nearest(tmp_path: Path) -> None:
    path = tmp_path / "logo.bmp"
    path.write_bytes(made(124, 24, 0))
    seen = look(path)
    assert seen.bmp and (seen.bmp.header, seen.same_header) == ("v4", False)


def test_missing_and_giant_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="is not a file"):
        look(tmp_path / "logo.bmp")
    (tmp_path / "logo.bmp").write_bytes(bytes(2**20 * 11))
    with pytest.raises(WrongUse, match="11 MiB"):
        look(tmp_path / "logo.bmp")
