"""BMP files through Pillow. Those with colour masks that Pillow does not know are decoded here.

Source: the format's public documentation of BITMAPINFOHEADER, BITMAPV4HEADER and BI_BITFIELDS (wingdi.h).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile

from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.shop.rulebook import Intake

_BITFIELDS, _ALPHA_BITFIELDS = 3, 6


@dataclass(frozen=True, slots=True)
class _MaskLayout:
    """How the pixels are stored. `masks` are those of red, green, blue and, where there is one, alpha.

    `start` is the first row's offset in the file. Rows run from the bottom up unless `down`.
    """

    size: tuple[int, int]
    bits: int
    masks: tuple[int, ...]
    start: int
    down: bool

    @property
    def mode(self) -> str:
        return "RGBA" if len(self.masks) == 4 else "RGB"

    @property
    def row_bytes(self) -> int:
        return (self.size[0] * self.bits + 31) // 32 * 4


def opened(file: BinaryIO, kind: str, intake: Intake) -> ImageFile.ImageFile:
    """Open the picture, its header read. Raise what garbage makes Pillow raise."""
    try:
        return Image.open(file, formats=[kind])
    except OSError:
        layout = _layout(file)
        if layout is None:
            raise
        return LibraryPicture(kind, layout.size, layout.mode, lambda _: _decoded(file, layout))


def _layout(file: BinaryIO) -> _MaskLayout | None:
    """Return the layout of a file with masks of 16 or 32 bits; None for any other."""
    file.seek(0)
    head = file.read(14 + 56)
    if len(head) < 70 or head[:2] != b"BM":
        return None
    (start,) = struct.unpack_from("<I", head, 10)
    length, wide, high, _, bits, compression = struct.unpack_from("<IiiHHI", head, 14)
    masks = struct.unpack_from("<4I", head, 54)
    alpha = length >= 56 or compression == _ALPHA_BITFIELDS
    masks = masks if alpha and masks[3] else masks[:3]
    if length < 40 or compression not in (_BITFIELDS, _ALPHA_BITFIELDS) or bits not in (16, 32):
        return None
    if wide <= 0 or high == 0 or not all(_is_one_run(mask) and mask < 1 << bits for mask in masks):
        return None
    return _MaskLayout((wide, abs(high)), bits, masks, start, high < 0)


def _is_one_run(mask: int) -> bool:
    """Is the mask one unbroken run of bits?"""
    low = mask & -mask
    return mask > 0 and (mask // low + 1) & (mask // low) == 0


def _decoded(file: BinaryIO, layout: _MaskLayout) -> Image.Image:
    wide, high = layout.size
    file.seek(layout.start)
    data = file.read(layout.row_bytes * high)
    if len(data) < layout.row_bytes * high:
        raise EOFError("the rows break off")
    rows = np.frombuffer(data, np.uint8).reshape(high, layout.row_bytes)
    words = np.ascontiguousarray(rows[:, : wide * layout.bits // 8]).view(f"<u{layout.bits // 8}")
    planes = [_plane(words, mask) for mask in layout.masks]
    return Image.fromarray(np.stack(planes if layout.down else [plane[::-1] for plane in planes], -1))


def _plane(words: NDArray[Any], mask: int) -> NDArray[np.uint8]:
    """Return the values under the mask, brought to 0 to 255: round(255 v / most)."""
    low = mask & -mask
    most = mask // low
    values = (words & mask).astype(np.uint64) // low
    plane: NDArray[np.uint8] = ((values * 255 + most // 2) // most).astype(np.uint8)
    return plane
