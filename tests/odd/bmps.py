"""Odd BMP files: every header of Windows and OS/2, every depth, run lengths, masks, top-down.

The layout is that of the BITMAPINFOHEADER family as its public documentation has it (wingdi.h: BITMAPCOREHEADER,
BITMAPINFOHEADER, BITMAPV4HEADER, BITMAPV5HEADER; "Bitmap Compression").
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from odd.marker import ALPHA, BITS, COLOURS, GREYS, Odd, shown, spread

SIZES = [(48, 64), (51, 68), (54, 72), (57, 76)]
"""Widths of every remainder by four: rows are padded."""

_PALETTE = np.concatenate([COLOURS.reshape(-1, 3), np.tile(COLOURS[0, 0], (244, 1))]).astype(np.uint8)


def header(length: int, size: tuple[int, int], bits: int, compress: int, masks: tuple[int, ...], table: int) -> bytes:
    """The information header of `length` bytes; a negative height is top-down."""
    if length == 12:
        return struct.pack("<IHHHH", 12, *size, 1, bits)
    made = struct.pack("<IiiHHIIiiII", length, *size, 1, bits, compress, 0, 2835, 2835, table, 0)
    if length >= 52:
        made += struct.pack("<4I", *masks, *[0] * (4 - len(masks)))[: min(16, length - 40)]
    if length >= 108:
        made += b"BGRs"  # LCS_sRGB, little-endian
    return made.ljust(length, b"\0")


def file(
    rows: NDArray[np.uint8] | bytes, size: tuple[int, int], bits: int, *, head: int = 40, compress: int = 0,
    masks: tuple[int, ...] = (), palette: NDArray[Any] | None = None, down: bool = False,
) -> bytes:  # fmt: skip
    """`rows` (H, bytes) as the eye reads them, or ready data."""
    wide, high = size
    if isinstance(rows, bytes):
        data = rows
    else:
        padded = np.pad(rows, ((0, 0), (0, -rows.shape[1] % 4)))
        data = (padded if down else padded[::-1]).tobytes()
    entries = 0 if palette is None else len(palette)
    info = header(head, (wide, -high if down else high), bits, compress, masks, entries)
    if masks and head == 40:
        info += struct.pack(f"<{len(masks)}I", *masks)
    if palette is not None:
        swapped = palette[:, ::-1]
        info += (swapped if head == 12 else np.pad(swapped, ((0, 0), (0, 1)))).astype(np.uint8).tobytes()
    at = 14 + len(info)
    return b"BM" + struct.pack("<IHHI", at + len(data), 0, 0, at) + info + data


def packed(indices: NDArray[Any], bits: int) -> NDArray[np.uint8]:
    if bits == 8:
        return indices.astype(np.uint8)
    return np.packbits((indices[..., None] >> np.arange(bits - 1, -1, -1) & 1).reshape(len(indices), -1), axis=1)


def run_lengths(indices: NDArray[Any], bits: int) -> bytes:
    """RLE8 or RLE4: repeats, and rows that end with their escape."""
    out = bytearray()
    for row in indices[::-1]:
        for value, run in itertools.groupby(row.tolist()):
            left = len(list(run))
            while left:
                here = min(left, 255)
                out += bytes([here, value if bits == 8 else value << 4 | value])
                left -= here
        out += b"\0\0"
    return bytes(out) + b"\0\1"


def absolute(indices: NDArray[Any]) -> bytes:
    """RLE8 in absolute runs, padded to words."""
    out = bytearray()
    for row in indices[::-1]:
        for start in range(0, len(row), 20):
            run = bytes(row[start : start + 20].tolist())
            out += bytes([0, len(run)]) + run + bytes(len(run) % 2) if len(run) > 2 else bytes([1, run[0]]) * len(run)
        out += b"\0\0"
    return bytes(out) + b"\0\1"


def _masked(pixels: NDArray[Any], masks: tuple[int, ...], width: int) -> NDArray[np.uint8]:
    """(H, W, 3 or 4) of 8 bits, in words of `width` bytes by masks."""
    words = np.zeros(pixels.shape[:2], np.uint32)
    for channel, mask in enumerate(masks):
        low = (mask & -mask).bit_length() - 1
        most = mask >> low
        words |= (np.round(pixels[..., channel] / 255 * most).astype(np.uint32) << low).astype(np.uint32)
    return np.ascontiguousarray(words.astype(f"<u{width}")).view(np.uint8).reshape(len(pixels), -1)


def files() -> Iterator[Odd]:
    for number, size in enumerate(SIZES):
        yield from _indexed(number, size)
        rgb = spread(COLOURS, size)
        for down, head in itertools.product((False, True), (12, 40, 52, 56, 64, 108, 124)):
            if head in (12, 64) and down:
                continue  # OS/2 knows no negative heights
            tag = f"{head}{'down' if down else ''}-{number}"
            rows = rgb[..., ::-1].reshape(size[1], -1)
            yield Odd(f"bmp-24h{tag}", file(rows, size, 24, head=head, down=down), (shown(COLOURS),))
            if head in (12, 64):
                continue
            wide = np.concatenate([rgb[..., ::-1], np.zeros_like(rgb[..., :1])], -1).reshape(size[1], -1)
            yield Odd(f"bmp-32h{tag}", file(wide, size, 32, head=head, down=down), (shown(COLOURS),))
            five = _masked(rgb, (0x7C00, 0x3E0, 0x1F), 2)
            yield Odd(f"bmp-15h{tag}", file(five, size, 16, head=head, down=down), (shown(COLOURS),), apart=6)
            yield from _bitfields(tag, rgb, size, head, down)


def _bitfields(tag: str, rgb: NDArray[Any], size: tuple[int, int], head: int, down: bool) -> Iterator[Odd]:
    alpha = spread(ALPHA[..., None], size)
    for name, masks, width in [
        ("565", (0xF800, 0x7E0, 0x1F), 2),
        ("555", (0x7C00, 0x3E0, 0x1F), 2),
        ("888", (0xFF0000, 0xFF00, 0xFF), 4),
        ("bgr", (0xFF, 0xFF00, 0xFF0000), 4),
        ("rgba", (0xFF0000, 0xFF00, 0xFF, 0xFF000000), 4),
        ("abgr", (0xFF000000, 0xFF0000, 0xFF00, 0xFF), 4),
    ]:
        if len(masks) == 4 and head < 56:
            continue
        clear = len(masks) == 4
        pixels = np.concatenate([rgb, alpha], -1) if clear else rgb
        rows = _masked(pixels, masks, width)
        data = file(rows, size, 8 * width, head=head, compress=3, masks=masks, down=down)
        yield Odd(f"bmp-{name}h{tag}", data, (shown(COLOURS, ALPHA if clear else None),), apart=6)


def _indexed(number: int, size: tuple[int, int]) -> Iterator[Odd]:
    for bits, down, head in itertools.product((1, 4, 8), (False, True), (12, 40, 108, 124)):
        if head == 12 and down:
            continue
        blocks = {1: BITS, 4: np.arange(12).reshape(4, 3)}.get(bits, np.arange(12).reshape(4, 3))
        palette = _PALETTE[: 2**bits]
        indices = spread(blocks, size)
        wanted = shown(palette[blocks])
        tag = f"{bits}h{head}{'down' if down else ''}-{number}"
        data = file(packed(indices, bits), size, bits, head=head, palette=palette, down=down)
        yield Odd(f"bmp-{tag}", data, (wanted,))
        if bits > 1 and head != 12 and not down:
            data = file(run_lengths(indices, bits), size, bits, head=head, compress=3 - bits // 4, palette=palette)
            yield Odd(f"bmp-rle{tag}", data, (wanted,))
        if bits == 8 and head != 12 and not down:
            data = file(absolute(indices), size, 8, head=head, compress=1, palette=palette)
            yield Odd(f"bmp-absolute{tag}", data, (wanted,))
    grey = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, 1)
    yield Odd(f"bmp-grey-{number}", file(spread(GREYS, size), size, 8, palette=grey), (shown(GREYS),))
