"""TIFF files: through Pillow where it reads their layout right, through libvips where it does not, else refused.

Pillow shows the layouts listed in `_is_misread` in wrong colours without a warning (tests/odd found them), and cannot
open a few others. The header is read in Python. libtiff, in libvips, runs only when pixels are asked for, which is in
a worker. Source of the tags: the TIFF 6.0 specification (1992).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from PIL import Image, ImageFile, UnidentifiedImageError

from keyturn.normalize.reading import picture_faults, tiff_tags
from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.shop import fast_libraries
from keyturn.shop.reasons import Reason, Refused, mended, refuse
from keyturn.shop.rulebook import Intake

_WIDTH, _HEIGHT, _FILL = 256, 257, 266
_BITS, _COMPRESSION, _PHOTOMETRIC, _TURN, _SAMPLES, _PLANAR, _EXTRA, _KIND = 258, 259, 262, 274, 277, 284, 338, 339
_ICC = 34675
_PACKED = (1, 5, 7, 8, 32773, 32946, 34925, 50000)
"""None, LZW, JPEG, Deflate (two numbers), PackBits, LZMA, Zstandard. libvips turns any other into a black picture."""
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _INKS = 0, 1, 2, 5
_SEPARATE, _WEIGHED, _WHOLE_NUMBERS, _FRACTIONS, _UNSAID = 2, 1, 1, 3, 4

_COLOURS = {_WHITE_IS_ZERO: (1, "L"), _BLACK_IS_ZERO: (1, "L"), _RGB: (3, "RGB"), _INKS: (4, "CMYK")}


@dataclass(frozen=True, slots=True)
class _PageLayout:
    """The first page as its tags describe it. `size` is that of the upright picture."""

    size: tuple[int, int]
    bits: int
    photometric: int
    samples: int
    kind: int
    compression: int
    turn: int
    profile: bytes

    def __str__(self) -> str:
        return f"{self.bits} bits, {self.samples} channels"

    @property
    def mode(self) -> str:
        """Pillow's mode of the decoded picture; empty where the layout is not decoded here."""
        colours, name = _COLOURS.get(self.photometric, (0, ""))
        if self.compression not in _PACKED:
            return ""
        if self.bits == 32:
            return "F" if self.samples == 1 == colours and self.kind in (_WHOLE_NUMBERS, _FRACTIONS) else ""
        if self.bits not in (8, 16) or self.kind != _WHOLE_NUMBERS or not name:
            return ""
        alpha = {0: "", 1: "A"}.get(self.samples - colours)
        return "" if alpha is None or name + alpha == "CMYKA" else name + alpha


def opened(file: BinaryIO, kind: str, intake: Intake) -> ImageFile.ImageFile:
    """Open the first page, its header read. Raise `Refused` for a layout that nothing here reads."""
    try:
        image = Image.open(file, formats=["TIFF"])
    except UnidentifiedImageError:
        image = None
    if image is not None and not _is_misread(image):
        return image
    try:
        layout = _layout(file)
    except Exception as error:  # garbled tags: numbers that are missing or point nowhere
        raise Refused([picture_faults.broken("begins well and cannot be read")]) from error
    if not layout.mode:
        raise Refused([_unread(layout)])
    return LibraryPicture(
        "TIFF",
        layout.size,
        layout.mode,
        lambda _: _decoded(file, layout),
        info={"icc_profile": layout.profile} if layout.profile else {},
        bits=layout.bits,
        findings=_findings(layout),
    )


def _is_misread(image: ImageFile.ImageFile) -> bool:
    """Is this one of the layouts that Pillow opens and shows in wrong colours?"""
    said: Any = image.tag_v2  # type: ignore[attr-defined]
    bits = max(said.get(_BITS, (1,)))
    raw = all(tile.codec_name == "raw" for tile in image.tile)
    if said.get(_PLANAR, 1) == _SEPARATE and (
        image.mode == "LAB" or (raw and (bits == 16 or _WEIGHED in said.get(_EXTRA, ())))
    ):
        return True
    if said.get(_PHOTOMETRIC) == _WHITE_IS_ZERO and (bits > 8 or (bits == 8 and said.get(_FILL, 1) == 2)):
        return True
    if image.mode == "I" and bits == 32 and said.get(_KIND, (_WHOLE_NUMBERS,))[0] == _WHOLE_NUMBERS:
        return True  # the upper half comes out negative
    if image.mode.startswith("I;16") and bits < 16:
        return True  # 12 bits are taken for the lowest of 16, and come out nearly black
    return image.mode in ("I", "F") and bits == 32 and not raw and said.prefix == b"MM"


def _layout(file: BinaryIO) -> _PageLayout:
    """Raise KeyError, ValueError or struct.error where the tags are garbled."""
    said = tiff_tags.first_page(file)

    def one(tag: int, default: int) -> int:
        return said.get(tag, (default,))[0]

    turn = one(_TURN, 1)
    size = said[_WIDTH][0], said[_HEIGHT][0]
    return _PageLayout(
        size=size if turn < 5 else size[::-1],
        bits=max(said.get(_BITS, (1,))),
        photometric=one(_PHOTOMETRIC, -1),
        samples=one(_SAMPLES, 1),
        kind=kind if (kind := one(_KIND, _WHOLE_NUMBERS)) != _UNSAID else _WHOLE_NUMBERS,
        compression=one(_COMPRESSION, 1),
        turn=turn if turn in range(1, 9) else 1,
        profile=bytes(said.get(_ICC, ())),
    )


def _findings(layout: _PageLayout) -> tuple[Reason, ...]:
    return (mended("turned-upright", "was turned upright, as its camera asks"),) if layout.turn > 1 else ()


def _unread(layout: _PageLayout) -> Reason:
    what = f"is a TIFF in a layout that is not read here ({layout})"
    return refuse("picture-layout", what, "export it with 8 or 16 bits a channel, interleaved, or as PNG")


def _decoded(file: BinaryIO, layout: _PageLayout) -> Image.Image:
    pyvips = fast_libraries.library(fast_libraries.READ_MORE)
    if pyvips is None:
        raise Refused([_unread(layout)])
    file.seek(0)
    try:
        read = pyvips.Image.tiffload_buffer(file.read(), autorotate=True, fail_on="error")
        fits = (read.width, read.height) == layout.size and read.bands == len(layout.mode)
        values = read.numpy() if fits and read.format in ("uchar", "ushort", "uint", "float") else None
    except pyvips.Error:
        raise Refused([_unread(layout)]) from None
    if values is None:
        raise Refused([_unread(layout)])
    if layout.mode == "F":
        return Image.fromarray(values.astype(np.float32))
    if values.dtype == np.uint16:
        values = ((values.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8)
    return Image.frombytes(layout.mode, layout.size, np.ascontiguousarray(values).tobytes())
