"""JPEG 2000 pictures through Pillow (OpenJPEG), with what Pillow gets wrong told from the header.

Pillow wraps the brightest values of colours above 8 bits round to black, and leaves out the colour profile.
Sources: ITU-T T.800, Annex A.5.1 (SIZ) and Annex I (boxes of a JP2 file).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO

from PIL import Image, ImageFile

from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Intake

_CODESTREAM = b"\xff\x4f\xff\x51"
_MOST_BOXES, _MOST_PROFILE = 1000, 16 * 2**20


def opened(file: BinaryIO, kind: str, intake: Intake) -> ImageFile.ImageFile:
    """Open the picture, its profile in `info`. Raise `Refused` for a layout that Pillow gets wrong."""
    profile, bits = _about(file)
    if len(bits) > 1 and max(bits) > 8:
        what = f"is a JPEG 2000 of {max(bits)} bits a channel, which is not read here"
        raise Refused([refuse("picture-layout", what, "export it with 8 bits a channel, or as PNG")])
    file.seek(0)
    image = Image.open(file, formats=[kind])
    if profile:
        image.info["icc_profile"] = profile
    return image


def _about(file: BinaryIO) -> tuple[bytes, tuple[int, ...]]:
    """Return the colour profile, empty without one, and the bits of each channel."""
    file.seek(0)
    if file.read(4) == _CODESTREAM:
        return b"", _bits(file, 0)
    profile, end = b"", file.seek(0, 2)
    for name, start, length in _boxes(file, 0, end):
        if name == b"jp2h":
            profile = next(_profiles(file, start, start + length), b"")
        if name == b"jp2c":
            return profile, _bits(file, start)
    raise Broken("has no picture")


def _boxes(file: BinaryIO, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield the name, start and length of what is in each box."""
    for _ in range(_MOST_BOXES):
        if at + 8 > end:
            return
        file.seek(at)
        length, name = struct.unpack(">I4s", file.read(8))
        lead = 8
        if length == 1:
            lead, (length,) = 16, struct.unpack(">Q", file.read(8))
        length = length or end - at
        if length < lead:
            raise Broken("has a box without a length")
        yield name, at + lead, length - lead
        at += length


def _profiles(file: BinaryIO, at: int, end: int) -> Iterator[bytes]:
    for name, start, length in _boxes(file, at, end):
        file.seek(start)
        if name == b"colr" and 3 < length <= _MOST_PROFILE and file.read(3)[0] in (2, 3):
            yield file.read(length - 3)


def _bits(file: BinaryIO, at: int) -> tuple[int, ...]:
    """Return the bits of each component by the SIZ marker, which stands first."""
    file.seek(at)
    head = file.read(42)
    if len(head) < 42 or head[:4] != _CODESTREAM:
        raise Broken("has no picture")
    (count,) = struct.unpack(">H", head[40:])
    each = file.read(3 * count)
    return tuple((bits & 0x7F) + 1 for bits in each[::3])
