"""Headers of PNG and JPEG files, read without decoding: size, depth, interlace, transparency.

Sources: PNG specification (W3C, ISO/IEC 15948), 5.2 signature, 5.3 chunk layout, 11.2.2 IHDR, 11.3.2 tRNS;
JPEG: ITU-T T.81, B.1.1 markers and B.2.2 frame header.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import Literal

from keyturn.png import chunks
from keyturn.png.chunks import PNG_SIGNATURE

JPEG_SIGNATURE = b"\xff\xd8\xff"
_ALPHA_TYPES = (4, 6)
_PALETTE_TYPE = 3
_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_BARE_MARKERS = frozenset([0x01, *range(0xD0, 0xD9)])


@dataclass(frozen=True, slots=True)
class Header:
    """Size in pixels, `bits` a channel. Where `complete` is False, `alpha` may still become True further on.

    `palette`: a PNG whose pixels are numbers of colours.
    """

    kind: Literal["png", "jpeg"]
    width: int
    height: int
    bits: int
    interlaced: bool = False
    alpha: bool = False
    complete: bool = True
    palette: bool = False


def is_picture(head: bytes) -> bool:
    return head.startswith((PNG_SIGNATURE, JPEG_SIGNATURE))


def header(head: bytes) -> Header | None:
    """Return the header of the picture that begins with `head`; None for another kind, or where it is cut short."""
    if head.startswith(PNG_SIGNATURE):
        return _png(head)
    if head.startswith(JPEG_SIGNATURE):
        return _jpeg(head)
    return None


def _png(head: bytes) -> Header | None:
    if len(head) < 29 or head[8:16] != b"\0\0\0\rIHDR":
        return None
    width, height, bits, colour, _, _, interlace = struct.unpack_from(">IIBBBBB", head, 16)
    if not width or not height:
        return None
    see_through = None if colour not in _ALPHA_TYPES else True
    if see_through is None:
        see_through = _has_trns(head)
    complete = see_through is not None
    return Header("png", width, height, bits, interlace != 0, bool(see_through), complete, colour == _PALETTE_TYPE)


def _has_trns(head: bytes) -> bool | None:
    """Is there a tRNS chunk before the picture data? None where `head` ends before that is known."""
    for chunk in chunks.walk(io.BytesIO(head)):
        if chunk.kind in (b"tRNS", b"IDAT", b"IEND"):
            return chunk.kind == b"tRNS"
    return None


def _jpeg(head: bytes) -> Header | None:
    at = 2
    while at + 4 <= len(head):
        if head[at] != 0xFF:
            return None
        marker = head[at + 1]
        if marker == 0xFF or marker in _BARE_MARKERS:  # fill byte, or a marker without a segment
            at += 1 if marker == 0xFF else 2
            continue
        if marker in _FRAME_HEADERS:
            return _frame_header(head, at)
        at += 2 + int.from_bytes(head[at + 2 : at + 4], "big")
    return None


def _frame_header(head: bytes, at: int) -> Header | None:
    if at + 9 > len(head):
        return None
    bits, height, width = struct.unpack_from(">BHH", head, at + 4)
    return Header("jpeg", width, height, bits) if width and height else None
