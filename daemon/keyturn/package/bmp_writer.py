"""A finished picture as BMP, in the layout that a radio's firmware wants: the same bytes for the same pixels.

Source: Microsoft's definitions of BITMAPFILEHEADER, BITMAPINFOHEADER and BITMAPV4HEADER (Windows GDI reference).
"""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from keyturn.shop.bmp_layout import HEADER_BYTES, BmpLayout

_RGB, _BITFIELDS = 0, 3
_MASKS = (0xF800, 0x07E0, 0x001F)
"""Which bits of a pixel hold red, green and blue in RGB565."""

_SRGB = 0x73524742
"""LCS_sRGB: the colours are sRGB, and the end points and gammas that follow are not read."""


def bmp(pixels: NDArray[np.uint8], layout: BmpLayout) -> bytes:
    """Return the file of `pixels` (H, W, 3), 8-bit RGB. RGB565 keeps the high bits: dither before."""
    height, width = pixels.shape[:2]
    data = _rows(pixels, layout)
    size = layout.file_bytes((width, height))
    file_header = struct.pack("<2sIHHI", b"BM", size, 0, 0, layout.pixels_at)
    head = file_header + _header(width, height, len(data), layout)
    return (head + data).ljust(size, b"\0")


def _header(width: int, height: int, data_bytes: int, layout: BmpLayout) -> bytes:
    """Return the header after the file's own. Rows run downwards where the height is negative."""
    compression = _BITFIELDS if layout.bits == 16 else _RGB
    rows = -height if layout.top_down else height
    header = struct.pack(
        "<IiiHHIIiiII",
        *(HEADER_BYTES[layout.header], width, rows, 1, layout.bits, compression, data_bytes, 0, 0, 0, 0),
    )
    masks = struct.pack("<3I", *(_MASKS if layout.bits == 16 else (0, 0, 0)))
    if layout.header == "v4":
        return header + masks + struct.pack("<II48x", 0, _SRGB)  # no alpha; nine end points and three gammas
    return header + masks if layout.bits == 16 else header


def _rows(pixels: NDArray[np.uint8], layout: BmpLayout) -> bytes:
    """Return the pixels row by row in the file's order, each row filled up to a multiple of four bytes."""
    ordered = pixels if layout.top_down else pixels[::-1]
    if layout.bits == 24:
        packed = ordered[..., ::-1].reshape(len(ordered), -1)  # blue comes first
    else:
        red, green, blue = (ordered[..., c].astype("<u2") for c in range(3))
        packed = np.ascontiguousarray(red >> 3 << 11 | green >> 2 << 5 | blue >> 3).view(np.uint8)
    short = layout.row_bytes(pixels.shape[1]) - packed.shape[1]
    return np.pad(packed, ((0, 0), (0, short))).tobytes()
