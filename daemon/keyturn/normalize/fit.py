"""Pictures resized, cropped and placed to the panel's size.

Resizing weighs the sRGB values as they stand, as paint programs do. Linear light would be truer optics, but
lettering and soft edges would come out other than the artist saw them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from PIL import Image


@dataclass(frozen=True, slots=True)
class Fit:
    """How art is fitted to a panel of `size` (width, height): `cover` fills it and crops, `contain` leaves margins.

    `focus` is the point of the art, in shares of its width and height, that `cover` keeps nearest the middle.
    """

    size: tuple[int, int]
    mode: Literal["cover", "contain"] = "cover"
    focus: tuple[float, float] = (0.5, 0.5)


@dataclass(frozen=True, slots=True)
class Placement:
    """Where the art goes: `crop` (left, top, right, bottom in source pixels) becomes `size` pixels at `offset`.

    `scale` is panel pixels a source pixel; `offset` is from the panel's top left corner.
    """

    crop: tuple[float, float, float, float]
    scale: float
    size: tuple[int, int]
    offset: tuple[int, int]


def box(source_size: tuple[int, int], fit: Fit) -> Placement:
    """Return where a picture of `source_size` (width, height) goes."""
    (w, h), (wide, high) = source_size, fit.size
    if fit.mode == "contain":
        scale = min(wide / w, high / h)
        size = _contained(w, wide, scale), _contained(h, high, scale)
        offset = (wide - size[0]) // 2, (high - size[1]) // 2
        return Placement((0.0, 0.0, float(w), float(h)), scale, size, offset)
    scale = max(wide / w, high / h)
    left, right = _kept(w, wide / scale, fit.focus[0], whole=scale == 1)
    top, bottom = _kept(h, high / scale, fit.focus[1], whole=scale == 1)
    return Placement((left, top, right, bottom), scale, fit.size, (0, 0))


def kept(source_size: tuple[int, int], fit: Fit) -> tuple[float, float, float, float]:
    """Return the part of the art that is shown: left, top, right and bottom in shares of its width and height."""
    (wide, high), (left, top, right, bottom) = source_size, box(source_size, fit).crop
    return left / wide, top / high, right / wide, bottom / high


def _contained(length: int, most: int, scale: float) -> int:
    return min(most, max(1, round(length * scale)))


def _kept(length: int, keep: float, focus: float, *, whole: bool) -> tuple[float, float]:
    """Return the ends of `keep` pixels around `focus`, moved so that they lie inside the picture.

    `whole` rounds them to pixel edges: at scale 1 half a pixel would only blur.
    """
    keep = min(keep, length)
    start = min(max(focus * length - keep / 2, 0.0), length - keep)
    if whole:
        start = float(round(start))
    return start, min(start + keep, float(length))


def enlargement(source_size: tuple[int, int], fit: Fit) -> float:
    """Return how many panel pixels a source pixel becomes across; above 1 the art is enlarged."""
    return box(source_size, fit).scale


def fitted(image: Image.Image, fit: Fit) -> Image.Image:
    """Return RGB or RGBA art resized to the panel's size by Lanczos; the margins of `contain` are see-through.

    Art that has the panel's size is returned as it is. Colours are weighed by their alpha, so see-through edges get
    no dark fringe. Reductions beyond six times start with a box average (Pillow's reducing gap of 3), which cannot be
    told from the full filter and costs a fraction.
    """
    if image.size == fit.size:
        return image
    place = box(image.size, fit)
    resized = _resized(image, place)
    if place.size == fit.size:
        return resized
    canvas = Image.new("RGBA", fit.size, (0, 0, 0, 0))
    canvas.paste(resized.convert("RGBA"), place.offset)
    return canvas


def _resized(image: Image.Image, place: Placement) -> Image.Image:
    if image.mode == "RGBA":
        weighed = _resized(image.convert("RGBa"), place)
        return weighed.convert("RGBA")
    return image.resize(place.size, Image.Resampling.LANCZOS, place.crop, reducing_gap=3.0)
