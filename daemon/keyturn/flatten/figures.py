"""Sprites drawn on a frame: to a fraction of a pixel, and mixed in linear light.

A sprite is kept as four planes of floats, its light weighed by its alpha. Each is twice as fine as it is
shown, so that edges keep their softness wherever between two pixels they fall. Mixing is "source over" of
weighed colours (T. Porter, T. Duff, 1984; W3C Compositing and Blending, level 1, 9.1.4) on linear light
(IEC 61966-2-1): a soft edge in motion is as bright as a soft edge at rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from keyturn.eye.luminance import FULL, LINEAR
from keyturn.flatten.motion import Pose
from keyturn.normalize.reading import stills
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.reasons import Reason
from keyturn.shop.rulebook import Intake

Planes = tuple[Image.Image, ...]
"""Red, green and blue light weighed by alpha, and alpha; floats from 0 to 1."""

FINE = 2
"""Sprite pixels a panel pixel, each way."""

MOST_PX = 2_000_000
"""A sprite of more pixels than this, itself or when made fine, is kept coarser: it fills a panel anyway."""

PAD = 4
"""See-through pixels around a sprite: more than the filters that turn and place it reach."""


@dataclass(frozen=True, slots=True)
class Figure:
    """What glides: the picture at `path`, or `text` in a colour. `name` is for reasons."""

    name: str
    path: Path | None = None
    text: str = ""
    colour: tuple[int, int, int] = (255, 255, 255)


@dataclass(frozen=True, slots=True)
class Placed:
    """A figure at one moment."""

    figure: Figure
    pose: Pose


def drawn(picture: Image.Image, placed: Placed, intake: Intake) -> tuple[Image.Image, tuple[Reason, ...]]:
    """`picture` (RGB) with the figure on it, and what was mended of the figure's art.

    Pixels out of the figure's reach stay as they are to the bit. Raises as `stills.load`.
    """
    pose = placed.pose
    if pose.opacity <= 0 or pose.height <= 0:
        return picture, ()
    path = placed.figure.path
    written = FileIdentity.of(path.stat()) if path else None
    height, turn = max(1, round(pose.height * FINE)), pose.turn % 360
    if turn:
        sprite = _turned(placed.figure, written, height, turn, intake)
    else:
        sprite = _level(placed.figure, written, height, intake)
    made = laid(picture, sprite.planes, pose.height / sprite.height, (pose.x, pose.y), pose.opacity)
    return made, sprite.reasons


# -- on the frame -----------------------------------------------------------------------------------


def laid(
    picture: Image.Image, planes: Planes, scale: float, centre: tuple[float, float], opacity: float
) -> Image.Image:
    """`planes`, each of their pixels `scale` of the picture's, over `picture` (RGB) with their middle at `centre`."""
    size = planes[0].size
    left, top = (c - length * scale / 2 for c, length in zip(centre, size, strict=True))
    x0, y0 = max(0, math.ceil(left)), max(0, math.ceil(top))
    x1 = min(picture.width, math.floor(left + size[0] * scale))
    y1 = min(picture.height, math.floor(top + size[1] * scale))
    if x0 >= x1 or y0 >= y1:
        return picture
    box = ((x0 - left) / scale, (y0 - top) / scale, (x1 - left) / scale, (y1 - top) / scale)
    made = picture.copy()
    under = np.asarray(picture.crop((x0, y0, x1, y1)))
    shown = _shown(planes, (x1 - x0, y1 - y0), (*box[:2], min(box[2], size[0]), min(box[3], size[1])))
    made.paste(Image.fromarray(_over(shown * np.float32(opacity), under), "RGB"), (x0, y0))
    return made


def _shown(planes: Planes, size: tuple[int, int], box: tuple[float, float, float, float]) -> NDArray[np.float32]:
    """(height, width, 4). The Hamming filter keeps edges sharp and, never below 0, draws no halo around them."""
    shown = (plane.resize(size, Image.Resampling.HAMMING, box) for plane in planes)
    stacked: NDArray[np.float32] = np.stack([np.asarray(plane, np.float32) for plane in shown], axis=-1)
    return stacked


def _over(sprite: NDArray[np.float32], under: NDArray[np.uint8]) -> NDArray[np.uint8]:
    light = sprite[..., :3] + (1 - sprite[..., 3:]) * LINEAR[under]
    codes: NDArray[np.uint8] = _CODES[np.rint(np.clip(light, 0, 1) * FULL).astype(np.uint16)]
    return codes


def _encoding() -> NDArray[np.uint8]:
    """The sRGB code of each of 65,536 steps of linear light, which gives every code back as it was."""
    light = np.arange(FULL + 1) / FULL
    code = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    codes: NDArray[np.uint8] = np.rint(code * 255).astype(np.uint8)
    return codes


_CODES = _encoding()


# -- the sprite -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sprite:
    """`height` is that of the figure in the planes' pixels, upright and without what lies around it."""

    planes: Planes
    height: int
    reasons: tuple[Reason, ...]


@lru_cache(maxsize=4)
def _turned(figure: Figure, written: FileIdentity | None, height: int, turn: float, intake: Intake) -> Sprite:
    """The figure `height` pixels high and turned. Frames that show it alike in size and turn share it.

    `written` tells a file from one of the same name that came later.
    """
    level = _level(figure, written, height, intake)
    turned = tuple(plane.rotate(-turn, Image.Resampling.BILINEAR, expand=True) for plane in level.planes)
    return replace(level, planes=turned)


@lru_cache(maxsize=12)
def _level(figure: Figure, written: FileIdentity | None, height: int, intake: Intake) -> Sprite:
    art, reasons = _art(figure, written, intake) if figure.path else (_lettered(figure, height), ())
    height = min(height, max(1, int(math.sqrt(MOST_PX * art.height / art.width))))
    size = max(1, round(art.width * height / art.height)), height
    return Sprite(_resized(weighed(art), size), height, reasons)


def weighed(art: Image.Image) -> Planes:
    """RGBA as planes of weighed light."""
    codes = np.asarray(art.convert("RGBA"))
    alpha = codes[..., 3].astype(np.float32) / 255
    return (*(Image.fromarray(LINEAR[codes[..., c]] * alpha) for c in range(3)), Image.fromarray(alpha))


def _resized(planes: Planes, size: tuple[int, int]) -> Planes:
    """At `size` and with see-through pixels around. Where the filter overshoots an edge, the edge holds."""
    *light, alpha = (np.asarray(plane.resize(size, Image.Resampling.BICUBIC)) for plane in planes)
    alpha = np.clip(alpha, 0, 1)
    bound = [np.clip(colour, 0, alpha) for colour in light]
    return tuple(Image.fromarray(np.pad(plane, PAD)) for plane in (*bound, alpha))


@lru_cache(maxsize=12)
def _art(figure: Figure, written: FileIdentity | None, intake: Intake) -> tuple[Image.Image, tuple[Reason, ...]]:
    assert figure.path
    picture, reasons = to_srgb(upright(stills.load(figure.path, intake, name=figure.name)))
    if (times := math.isqrt(picture.width * picture.height // MOST_PX)) > 1:
        weighted = picture.convert("RGBa") if picture.mode == "RGBA" else picture
        picture = weighted.reduce(times)
    return picture.convert("RGBA"), tuple(reason.model_copy(update={"file": figure.name}) for reason in reasons)


# -- text -------------------------------------------------------------------------------------------


def _lettered(figure: Figure, height: int) -> Image.Image:
    """The words in the typeface that comes with Pillow, as high as the line is: no file of the shop's is needed."""
    line = sum(_font(100).getmetrics())
    font = _font(max(1.0, 100 * height / line))
    ascent, descent = font.getmetrics()
    mask = Image.new("L", (max(1, math.ceil(font.getlength(figure.text))), ascent + descent))
    ImageDraw.Draw(mask).text((0, ascent), figure.text, fill=255, font=font, anchor="ls")
    made = Image.new("RGBA", mask.size, figure.colour)
    made.putalpha(mask)
    return made


def letters_missing(text: str) -> str:
    """The letters of `text` that the typeface has no shape for."""
    font = _font(40)
    none = _shape(font, "\uffff")
    return "".join(dict.fromkeys(letter for letter in text if letter.strip() and _shape(font, letter) == none))


def _font(size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont)  # Pillow's wheels carry FreeType
    return font


def _shape(font: ImageFont.FreeTypeFont, letter: str) -> bytes:
    return bytes(font.getmask(letter))
