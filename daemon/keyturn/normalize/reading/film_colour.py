"""A film's frame as 8-bit RGB or RGBA of square pixels: by which matrix, in which range, and which way up.

The stream's own tags decide (ITU-T H.273). A film without tags is taken as limited range; by BT.709 from 720 lines
or 1280 columns on, below that by BT.601, as players do (common practice, no source). Video's curve is taken for
sRGB's, as browsers and editors show it (common practice, no source). Wider primaries and HDR's curves become a colour
profile.
"""

from __future__ import annotations

import struct
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from PIL import Image

from keyturn.normalize.reading import declared_colours

if TYPE_CHECKING:
    from av.video.frame import VideoFrame
    from av.video.reformatter import VideoReformatter

BT709, FCC, BT470BG, SMPTE170M, SMPTE240M, BT2020_NCL, BT2020_CL = 1, 4, 5, 6, 7, 9, 10
"""ITU-T H.273, table 4 (MatrixCoefficients)."""

HDR = (16, 18)
"""ITU-T H.273, table 3 (TransferCharacteristics): PQ and HLG."""

_VIDEO_CURVE = 1

_SCALER_MATRIX = {
    BT709: "ITU709",
    FCC: "FCC",
    BT470BG: "ITU601",
    SMPTE170M: "ITU601",
    SMPTE240M: "SMPTE240M",
    BT2020_NCL: "BT2020",
    BT2020_CL: "BT2020",
}
_LIMITED, _FULL = 1, 2

_TURNS = {
    (1, 0, 0, 1): 1,
    (-1, 0, 0, 1): 2,
    (-1, 0, 0, -1): 3,
    (1, 0, 0, -1): 4,
    (0, 1, 1, 0): 5,
    (0, 1, -1, 0): 6,
    (0, -1, -1, 0): 7,
    (0, -1, 1, 0): 8,
}
"""EXIF's orientation by the signs of a, b, c, d of the matrix x' = ax + cy, y' = bx + dy (ISO/IEC 14496-12, 8.3.2)."""


def turn(matrix: bytes) -> int:
    """Return EXIF's orientation for a display matrix (nine 32-bit integers); 1 for any but quarter turns and flips."""
    if len(matrix) < 36:
        return 1
    a, b, _, c, d = struct.unpack("=9i", matrix[:36])[:5]
    signs = tuple((value > 0) - (value < 0) for value in (a, b, c, d))
    return _TURNS.get((signs[0], signs[1], signs[2], signs[3]), 1)


def square(size: tuple[int, int], aspect: Fraction | None) -> tuple[int, int]:
    """Return the size in square pixels, where a pixel of `size` is `aspect` times as wide as high. Never shrinks."""
    wide, high = size
    if not aspect or aspect <= 0 or not Fraction(1, 16) < aspect < 16:
        return size
    if aspect >= 1:
        return round(wide * aspect), high
    return wide, round(high / aspect)


def profile(frame: VideoFrame) -> dict[str | tuple[int, int], Any]:
    """Return the `info` of a picture with the colour profile for the frame's tags; empty where that is sRGB."""
    primaries, transfer = int(frame.color_primaries), int(frame.color_trc)
    made = declared_colours.by_numbers(
        primaries, transfer if transfer in HDR else _VIDEO_CURVE, f"video {primaries}, {transfer}"
    )
    return {"icc_profile": made} if made else {}


def has_alpha(frame: VideoFrame) -> bool:
    return any(component.is_alpha for component in frame.format.components)


def picture(frame: VideoFrame, size: tuple[int, int], alpha: bool, reformatter: VideoReformatter) -> Image.Image:
    """Return `frame` at `size`, converted by FFmpeg's swscale with exact rounding and chroma for every pixel."""
    from av.video.reformatter import Colorspace, Interpolation

    matrix = _matrix(frame)
    way = Interpolation.BICUBIC | Interpolation.ACCURATE_RND | Interpolation.FULL_CHR_H_INT | Interpolation.BITEXACT
    mode, planes = ("RGBA", "rgba") if alpha else ("RGB", "rgb24")
    made = reformatter.reformat(
        frame,
        *size,
        format=planes,
        src_colorspace=int(Colorspace[matrix]) if matrix else None,
        src_color_range=_range(frame),
        dst_color_range=_FULL,
        interpolation=way,
        threads=1,
    )
    plane = made.planes[0]
    return Image.frombytes(mode, size, bytes(plane), "raw", mode, plane.line_size)


def _matrix(frame: VideoFrame) -> str | None:
    if frame.format.is_rgb:
        return None
    if (said := _SCALER_MATRIX.get(int(frame.colorspace))) is not None:
        return said
    return "ITU709" if frame.height >= 720 or frame.width >= 1280 else "ITU601"


def _range(frame: VideoFrame) -> int:
    if frame.format.is_rgb or frame.format.name.startswith("yuvj"):
        return _FULL
    return _FULL if int(frame.color_range) == _FULL else _LIMITED
