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
    """How art meets the panel: `cover` fills it and crops, `contain` shows all and leaves margins.

    `focus` is the point of the art, in shares of its width and height, that cover keeps nearest the middle.
    """

    size: tuple[int, int]
    mode: Literal["cover", "contain"] = "cover"
    focus: tuple[float, float] = (0.5, 0.5)


@dataclass(frozen=True, slots=True)
class Placement:
    """`crop` (left, top, right, bottom in source pixels) becomes `size` pixels at `offset` on the panel."""

    crop: tuple[float, float, float, float]
    scale: float
    size: tuple[int, int]
    offset: tuple[int, int]


def box(source_size: tuple[int, int], fit: Fit) -> Placement:
    """Where the art goes. Pure arithmetic; `scale` is panel pixels a source pixel."""
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


def _contained(length: int, most: int, scale: float) -> int:
    return min(most, max(1, round(length * scale)))


def _kept(length: int, keep: float, focus: float, *, whole: bool) -> tuple[float, float]:
    """The stretch of `keep` pixels with `focus` in its middle, pushed back inside the picture.

    `whole` puts it on pixel edges: at scale 1 half a pixel would only blur.
    """
    keep = min(keep, length)
    start = min(max(focus * length - keep / 2, 0.0), length - keep)
    if whole:
        start = float(round(start))
    return start, min(start + keep, float(length))


def enlargement(source_size: tuple[int, int], fit: Fit) -> float:
    """How many panel pixels a source pixel becomes across; above 1 the art is enlarged."""
    return box(source_size, fit).scale


def fitted(image: Image.Image, fit: Fit) -> Image.Image:
    """RGB or RGBA art at the panel's size, by Lanczos; contain's margins are see-through.

    Art of the panel's size already comes back as it is. See-through colours are weighed by their alpha, so
    no dark fringe grows around them. Reductions beyond six times start with a box average (Pillow's
    reducing gap of 3), which cannot be told from the full filter and costs a fraction.
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
