"""Sizes of BMP files against files that another program, or another library, has written."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from keyturn.shop.bmp_layout import BmpLayout


@pytest.mark.parametrize("width", [1, 2, 3, 4, 5, 47, 48])
def test_rows_begin_at_multiples_of_four(width: int) -> None:
    """Pillow writes 24-bit BMP behind a BITMAPINFOHEADER."""
    file = io.BytesIO()
    Image.new("RGB", (width, 3)).save(file, "BMP")
    assert BmpLayout(24, False, "info").file_bytes((width, 3)) == len(file.getvalue())


@pytest.mark.parametrize(
    ("layout", "size"),
    # BITMAPFILEHEADER 14 bytes; BITMAPINFOHEADER 40; BITMAPV4HEADER 108; three masks of 4 bytes each
    [
        (BmpLayout(24, False, "info"), 14 + 40 + 768 * 3 * 1024),
        (BmpLayout(16, False, "info"), 14 + 40 + 12 + 768 * 2 * 1024),
        (BmpLayout(24, True, "v4"), 14 + 108 + 768 * 3 * 1024),
        (BmpLayout(16, True, "v4"), 14 + 108 + 768 * 2 * 1024),
        (BmpLayout(16, True, "v4", 1_600_000), 1_600_000),
    ],
)
def test_a_file_has_the_bytes_of_its_headers_and_rows(layout: BmpLayout, size: int) -> None:
    assert layout.file_bytes((768, 1024)) == size
