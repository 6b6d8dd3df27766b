"""TGA pictures, which 3D and compositing programs write as frames, through Pillow.

The kind has no first bytes of its own, so its header is checked field by field. Pillow knows no 15-bit pixels and takes
the spare bit of 16-bit ones for transparency, which few programs write.
Source: Truevision TGA file format specification 2.0 (fields 2 to 5, extension area, field 24: attributes type).
"""

from __future__ import annotations

import io
import re
import struct
from typing import Any, BinaryIO

import numpy as np
from PIL import Image

from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.rulebook import Intake

HEADER = (
    rb".(\x01[\x01\x09].{4}[\x0f\x10\x18\x20].{4}(?!\x00\x00)..(?!\x00\x00)..\x08|"
    rb"\x00[\x02\x0a].{9}(?!\x00\x00)..(?!\x00\x00)..[\x0f\x10\x18\x20]|"
    rb"\x00[\x03\x0b].{9}(?!\x00\x00)..(?!\x00\x00)..[\x08\x10])[\x00-\x3f]"
)
"""Colour-mapped, RGB and grey pictures, plain or packed, with a size and a depth that there are."""

_FOOTER = b"TRUEVISION-XFILE.\0"
_GREY = (3, 11)
_NO_ALPHA, _PREMULTIPLIED = (0, 1, 2), 4


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Open the picture, its header read. Raise `Refused` for a layout that is not read right, `Broken` for garbage."""
    file.seek(0)
    head = file.read(18)
    if len(head) < 18 or not re.match(HEADER, head, re.DOTALL):
        raise Broken("breaks off")
    form, entry_bits, depth, attributes = head[2], head[7], head[16], head[17] & 15
    if form in _GREY and depth == 16 and attributes != 8:
        what = "is a TGA of 16-bit greys, which is not read here"
        raise Refused([refuse("picture-layout", what, "export it with 8 bits a channel, or as PNG")])
    alpha = _attributes_type(file)
    clear = 32 in (depth, entry_bits if depth == 8 else 0) or (form in _GREY and depth == 16)
    mode = "RGB" if form not in _GREY else "L"
    mode = mode + "A" if clear and alpha not in _NO_ALPHA else mode
    return LibraryPicture(kind, struct.unpack("<HH", head[12:16]), mode, lambda _: _decoded(file, head, mode, alpha))


def _attributes_type(file: BinaryIO) -> int | None:
    """Return what the extension area says of the fourth channel; None where there is no such area."""
    end = file.seek(0, io.SEEK_END)
    file.seek(max(0, end - 26))
    footer = file.read(26)
    if len(footer) < 26 or footer[8:] != _FOOTER:
        return None
    (area,) = struct.unpack("<I", footer[:4])
    file.seek(area)
    extension = file.read(495)
    return extension[494] if area and len(extension) == 495 else None


def _decoded(file: BinaryIO, head: bytes, mode: str, alpha: int | None) -> Image.Image:
    file.seek(0)
    source: BinaryIO = file
    if head[16] == 15:  # Pillow reads the same pixels as 16-bit ones
        source = io.BytesIO(head[:16] + b"\x10" + head[17:] + file.read()[18:])
    image: Any = Image.open(source, formats=["TGA"])
    image.load()
    made: Image.Image = image.convert(mode)
    if mode[-1] != "A":
        return made
    if made.getchannel("A").getextrema() == (0, 0):  # a fourth channel that was never filled (common practice)
        return made.convert(mode[:-1])
    return _divided(made) if alpha == _PREMULTIPLIED else made


def _divided(image: Image.Image) -> Image.Image:
    """Return the picture with its colours divided by its transparency."""
    pixels = np.asarray(image.convert("RGBA")).astype(np.float32)
    colours = pixels[..., :3] * 255 / np.maximum(pixels[..., 3:], 1)
    pixels[..., :3] = np.clip(np.rint(colours), 0, 255)
    return Image.fromarray(pixels.astype(np.uint8))
