"""A source picture as the panel shows it, the quick way: cut to what is needed, flattened, then resized.

Art that is laid over other art is resized first (`normalize.fit.fitted`) and then flattened. On an even ground both
orders compute the same weighted sum of pixels. Their results differ by rounding and, beside hard edges, by the ringing
of Lanczos beyond black and white, which the two clip at different points.
"""

from __future__ import annotations

import math
from dataclasses import replace

from PIL import Image

from keyturn.flatten.transparency import Colour, flatten
from keyturn.normalize import scale
from keyturn.normalize.fit import Fit, Placement, box
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop.reasons import Reason

_SEEN_WHOLE = ("I", "F")
"""Modes whose white is guessed from the brightest pixel, so that the whole picture is needed."""


def shown(raw: Image.Image, fit: Fit, ground: Colour) -> tuple[Image.Image, tuple[Reason, ...]]:
    """Return a decoded picture as opaque RGB: upright, in sRGB, at the panel's size, on `ground`, without metadata.

    The reasons name no file: only the caller knows it.
    """
    held = upright(raw)
    part, place = _cut(held, box(held.size, fit))
    flat, place, reasons = _flat(part, place, ground)
    sized = _sized(flat, place)
    if place.size == fit.size:
        return sized, reasons
    canvas = Image.new("RGB", fit.size, ground)
    canvas.paste(sized, place.offset)
    return canvas, reasons


def _cut(image: Image.Image, place: Placement) -> tuple[Image.Image, Placement]:
    """Return the part of the picture that the resize reads, and where that part goes."""
    left, top, right, bottom = scale.needed(image.size, place.size, place.crop)
    if image.mode in _SEEN_WHOLE or (left, top, right, bottom) == (0, 0, *image.size):
        return image, place
    part = image.crop((left, top, right, bottom))
    part.info = image.info
    crop = (place.crop[0] - left, place.crop[1] - top, place.crop[2] - left, place.crop[3] - top)
    return part, replace(place, crop=crop)


def _flat(image: Image.Image, place: Placement, ground: Colour) -> tuple[Image.Image, Placement, tuple[Reason, ...]]:
    """Return the picture as opaque RGB, where it goes, and what was mended.

    Of a see-through picture only the panel pixels that its visible part touches are kept.
    """
    if image.mode not in ("RGB", "RGBA") or image.info.keys() & {"icc_profile", "transparency"}:
        srgb, reasons = to_srgb(image)
        return flatten(srgb, ground), place, reasons
    if image.mode == "RGBA" and not _is_opaque(image):
        image, place = _cut(image, _touched(image.getbbox() or (0, 0, 1, 1), place))
        return flatten(image, ground), place, ()
    bare = image.convert("RGB")  # always a copy
    bare.info = {}
    return bare, place, ()


def _is_opaque(image: Image.Image) -> bool:
    few = image.resize((16, 16), Image.Resampling.NEAREST)  # enough to find most see-through art quickly
    return all(part.getchannel("A").getextrema() == (255, 255) for part in (few, image))


def _touched(seen: tuple[int, int, int, int], place: Placement) -> Placement:
    """Return `place` limited to the panel pixels that the box `seen` of the source reaches when resized."""
    low, high, edges = [0, 0], [0, 0], [0.0, 0.0, 0.0, 0.0]
    for i in (0, 1):
        start, length = place.crop[i], place.size[i]
        step = (place.crop[i + 2] - start) / length
        reach = scale.LOBES * max(1.0, step)
        low[i] = min(max(0, math.floor((seen[i] - reach - start) / step) - 1), length - 1)
        high[i] = max(min(length, math.ceil((seen[i + 2] + reach - start) / step) + 1), low[i] + 1)
        edges[i], edges[i + 2] = start + low[i] * step, start + high[i] * step
    return replace(
        place,
        crop=(edges[0], edges[1], edges[2], edges[3]),
        size=(high[0] - low[0], high[1] - low[1]),
        offset=(place.offset[0] + low[0], place.offset[1] + low[1]),
    )


def _sized(image: Image.Image, place: Placement) -> Image.Image:
    left, top, right, bottom = place.crop
    if (right - left, bottom - top) == place.size and left.is_integer() and top.is_integer():
        return image.crop((int(left), int(top), int(right), int(bottom)))
    return scale.lanczos(image, place.size, place.crop)
