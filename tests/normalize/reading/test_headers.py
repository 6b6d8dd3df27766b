"""PNG and JPEG headers against Pillow's reading of the same bytes."""

import io
import struct
import zlib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from keyturn.normalize.reading.headers import Header, header
from keyturn.png.chunks import PNG_SIGNATURE


def encoded(mode: str, kind: str, size: tuple[int, int] = (40, 30), **options: Any) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size).save(out, kind, **options)
    return out.getvalue()


def interlaced(png: bytes) -> bytes:
    """The same header with the interlace method set to Adam7 (PNG specification 11.2.2) and its CRC mended."""
    ihdr = png[12:28] + b"\x01"
    return png[:12] + ihdr + struct.pack(">I", zlib.crc32(ihdr)) + png[33:]


@pytest.mark.parametrize(
    ("mode", "bits", "alpha"),
    [("RGB", 8, False), ("RGBA", 8, True), ("L", 8, False), ("LA", 8, True), ("I;16", 16, False), ("1", 1, False)],
)
@pytest.mark.parametrize("adam7", [False, True])
def test_png_headers_are_as_pillow_reads_them(mode: str, bits: int, alpha: bool, adam7: bool) -> None:
    data = encoded(mode, "PNG")
    data = interlaced(data) if adam7 else data
    picture = Image.open(io.BytesIO(data))
    found = header(data)
    assert found == Header("png", *picture.size, bits, bool(picture.info.get("interlace")), alpha)
    assert found.interlaced == adam7
    assert alpha == picture.has_transparency_data


def test_a_palette_is_found() -> None:
    """PNG specification 11.2.2: colour type 3, which Pillow calls P."""
    found = {mode: header(encoded(mode, "PNG")) for mode in ("P", "RGB", "L")}
    assert {mode: seen.palette for mode, seen in found.items() if seen} == {"P": True, "RGB": False, "L": False}


def test_a_transparent_palette_colour_is_found_after_other_chunks() -> None:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Title", "x" * 6000)
    data = encoded("P", "PNG", transparency=0, pnginfo=notes)
    assert Image.open(io.BytesIO(data)).has_transparency_data
    whole, short = header(data), header(data[:4096])
    assert whole is not None and whole.alpha and whole.complete
    assert short is not None and not short.alpha and not short.complete


@pytest.mark.parametrize(("mode", "options"), [("RGB", {}), ("L", {}), ("CMYK", {}), ("RGB", {"progressive": True})])
def test_jpeg_headers_are_as_pillow_reads_them(mode: str, options: dict[str, Any]) -> None:
    data = encoded(mode, "JPEG", (123, 77), exif=b"Exif\0\0" + b"x" * 5000, **options)
    assert header(data) == Header("jpeg", *Image.open(io.BytesIO(data)).size, 8)


def test_fill_bytes_between_jpeg_segments_are_stepped_over() -> None:
    data = encoded("RGB", "JPEG")
    assert header(data[:2] + b"\xff\xff" + data[2:]) == header(data)  # T.81 B.1.1.2


@pytest.mark.parametrize("data", [b"", b"GIF89a", PNG_SIGNATURE, b"\xff\xd8\xff", b"\xff\xd8\xff\xe0\x00\x02abcd"])
def test_what_is_no_picture_has_no_header(data: bytes) -> None:
    assert header(data) is None


@settings(max_examples=500, deadline=None)
@given(st.sampled_from([b"", PNG_SIGNATURE, PNG_SIGNATURE + b"\0\0\0\rIHDR", b"\xff\xd8\xff"]), st.binary(max_size=60))
def test_no_bytes_are_an_error(start: bytes, rest: bytes) -> None:
    found = header(start + rest)
    assert found is None or (found.width > 0 and found.height > 0)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 900))
def test_a_picture_cut_short_is_read_rightly_or_not_at_all(length: int) -> None:
    for data in (encoded("RGB", "PNG"), encoded("RGB", "JPEG")):
        found = header(data[:length])
        assert found is None or (found.width, found.height, found.alpha) == (40, 30, False)
