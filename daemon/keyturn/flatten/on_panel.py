"""A source picture as the panel shows it, by the short way: cut to what is needed, flattened, then resized.

`normalize.fitted` and then `flatten` do the same the long way, for art that is laid over other art. On an
even ground the two are one sum of weighed pixels taken in two orders; they differ by roundings, and beside
hard edges by what Lanczos rings beyond black and white, which is cut off at another point.
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
"""Greys whose white is guessed from the brightest of all."""


def shown(raw: Image.Image, fit: Fit, ground: Colour) -> tuple[Image.Image, tuple[Reason, ...]]:
    """A decoded picture upright, in sRGB, at the panel's size on `ground`: opaque RGB, without metadata.

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
    """The part of the picture that the resize weighs, and the placement of that part."""
    left, top, right, bottom = scale.needed(image.size, place.size, place.crop)
    if image.mode in _SEEN_WHOLE or (left, top, right, bottom) == (0, 0, *image.size):
        return image, place
    part = image.crop((left, top, right, bottom))
    part.info = image.info
    crop = (place.crop[0] - left, place.crop[1] - top, place.crop[2] - left, place.crop[3] - top)
    return part, replace(place, crop=crop)


def _flat(image: Image.Image, place: Placement, ground: Colour) -> tuple[Image.Image, Placement, tuple[Reason, ...]]:
    """Opaque RGB. Where a cut-out leaves most of the picture clear, only what it touches is placed."""
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
    few = image.resize((16, 16), Image.Resampling.NEAREST)  # most see-through art shows it here already
    return all(part.getchannel("A").getextrema() == (255, 255) for part in (few, image))


def _touched(seen: tuple[int, int, int, int], place: Placement) -> Placement:
    """The placement of those panel pixels alone in which `seen`, a box of the source, has a say."""
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
