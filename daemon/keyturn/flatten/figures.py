"""Figures (pictures or text) drawn on a frame: placed to a fraction of a pixel and mixed in linear light.

A figure is kept as four planes of floats: red, green and blue light multiplied by alpha, and alpha. The planes have
twice the resolution that is shown, so that edges are equally soft wherever between two pixels they fall. Mixing is
"source over" of premultiplied colours (T. Porter, T. Duff, 1984; W3C Compositing and Blending, level 1, 9.1.4) in
linear light (IEC 61966-2-1), so that a soft edge in motion is as bright as a soft edge at rest.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from keyturn.eye.luminance import FULL, LINEAR
from keyturn.flatten import lettering
from keyturn.flatten.lettering import TextLook
from keyturn.flatten.motion import Pose
from keyturn.flatten.text_layout import SetText
from keyturn.normalize.reading import stills
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.reasons import Reason
from keyturn.shop.rulebook import Intake

Planes = tuple[Image.Image, ...]
"""Red, green and blue light multiplied by alpha, and alpha; floats from 0 to 1."""

Version = tuple[FileIdentity, ...]

FINE = 2
"""Pixels of the planes for one panel pixel, across and down."""

MOST_PX = 2_000_000
"""A figure is reduced to this many pixels, before and after it is scaled by `FINE`: so many fill a panel anyway."""

INK_PX, MOST_POINTS = 200, 3000
"""Where a text's ink is, is found in a line of this height, by this many points."""

PAD = 4
"""See-through pixels around a figure, more than the filters that turn and place it reach."""


@dataclass(frozen=True, slots=True)
class Figure:
    """What is drawn: the picture at `path`, or `text` in a colour. `name` is the file that reasons are about.

    `words` is the text as it was set, with the look it is to have; without it, text is set in the typeface that comes
    with Pillow.
    """

    name: str
    path: Path | None = None
    text: str = ""
    colour: tuple[int, int, int] = (255, 255, 255)
    words: tuple[SetText, TextLook] | None = None

    @property
    def version(self) -> Version:
        """What tells the figure's files from later ones of the same names."""
        paths = (self.path,) if self.path else self.words[0].paths if self.words else ()
        return tuple(FileIdentity.of(path.stat()) for path in paths)


@dataclass(frozen=True, slots=True)
class Placed:
    """A figure at one moment."""

    figure: Figure
    pose: Pose


def drawn(picture: Image.Image, placed: Placed, intake: Intake) -> tuple[Image.Image, tuple[Reason, ...]]:
    """Return `picture` (RGB) with the figure on it, and what was mended of the figure's art.

    Pixels that the figure does not touch keep their exact values. Raise `Refused` as `stills.load` does.
    """
    pose = placed.pose
    if pose.opacity <= 0 or pose.height <= 0:
        return picture, ()
    version = placed.figure.version
    height, turn = max(1, round(pose.height * FINE)), pose.turn % 360
    if turn:
        made = _turned(placed.figure, version, height, turn, intake)
    else:
        made = _level(placed.figure, version, height, intake)
    scale = pose.height / made.height
    return composited(picture, made.planes, scale, pose.middle(made.width * scale), pose.opacity), made.reasons


# -- on the frame -----------------------------------------------------------------------------------


def composited(
    picture: Image.Image, planes: Planes, scale: float, centre: tuple[float, float], opacity: float
) -> Image.Image:
    """Return `picture` (RGB) with `planes` over it, their middle at `centre`, in pixels of the picture.

    `scale` is the picture's pixels for one pixel of the planes.
    """
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
    """Return the part `box` of the planes at `size` (width, height), as (height, width, 4).

    The Hamming filter keeps edges sharp. It is never below 0, so it draws no halo around them.
    """
    shown = (plane.resize(size, Image.Resampling.HAMMING, box) for plane in planes)
    stacked: NDArray[np.float32] = np.stack([np.asarray(plane, np.float32) for plane in shown], axis=-1)
    return stacked


def _over(above: NDArray[np.float32], under: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return premultiplied linear light (H, W, 4) over sRGB pixels (H, W, 3), as sRGB."""
    light = above[..., :3] + (1 - above[..., 3:]) * LINEAR[under]
    codes: NDArray[np.uint8] = _CODES[np.rint(np.clip(light, 0, 1) * FULL).astype(np.uint16)]
    return codes


def _encoding() -> NDArray[np.uint8]:
    """Return the sRGB value of each of 65,536 steps of linear light. Decoding and encoding keeps every value."""
    light = np.arange(FULL + 1) / FULL
    code = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    codes: NDArray[np.uint8] = np.rint(code * 255).astype(np.uint8)
    return codes


_CODES = _encoding()


# -- a figure's planes ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FigurePlanes:
    """A figure ready to be drawn.

    `width` and `height` are those of the upright figure in the planes' pixels, without its padding.
    """

    planes: Planes
    width: float
    height: float
    reasons: tuple[Reason, ...]


@lru_cache(maxsize=4)
def _turned(figure: Figure, version: Version, height: int, turn: float, intake: Intake) -> FigurePlanes:
    """Return the figure `height` pixels high, turned clockwise by `turn` degrees.

    Frames that show it in one size and turn share the result. `version` is part of the cache's key: it tells a file
    from a later one of the same name.
    """
    level = _level(figure, version, height, intake)
    turned = tuple(plane.rotate(-turn, Image.Resampling.BILINEAR, expand=True) for plane in level.planes)
    return replace(level, planes=turned)


@lru_cache(maxsize=12)
def _level(figure: Figure, version: Version, height: int, intake: Intake) -> FigurePlanes:
    """Return the figure `height` pixels high, or smaller where it would have more than `MOST_PX`."""
    if figure.words:
        made = lettering.drawn(*figure.words, height, MOST_PX, intake)
        return FigurePlanes(_padded(np.moveaxis(made.light, -1, 0)), made.width, made.height, ())
    art, reasons = _art(figure, version, intake) if figure.path else (_lettered(figure, height), ())
    height = min(height, max(1, int(math.sqrt(MOST_PX * art.height / art.width))))
    size = max(1, round(art.width * height / art.height)), height
    return FigurePlanes(_resized(premultiplied(art), size), *size, reasons)


def premultiplied(art: Image.Image) -> Planes:
    """Return RGBA art as planes of linear light multiplied by alpha, and alpha."""
    codes = np.asarray(art.convert("RGBA"))
    alpha = codes[..., 3].astype(np.float32) / 255
    return (*(Image.fromarray(LINEAR[codes[..., c]] * alpha) for c in range(3)), Image.fromarray(alpha))


def _resized(planes: Planes, size: tuple[int, int]) -> Planes:
    """Return the planes at `size`, with padding; what the filter overshoots at edges is clipped."""
    *light, alpha = (np.asarray(plane.resize(size, Image.Resampling.BICUBIC)) for plane in planes)
    alpha = np.clip(alpha, 0, 1)
    bound = [np.clip(colour, 0, alpha) for colour in light]
    return _padded((*bound, alpha))


def _padded(planes: Iterable[NDArray[np.float32]]) -> Planes:
    return tuple(Image.fromarray(np.pad(plane, PAD)) for plane in planes)


@lru_cache(maxsize=12)
def _art(figure: Figure, version: Version, intake: Intake) -> tuple[Image.Image, tuple[Reason, ...]]:
    """Return the figure's picture as RGBA, reduced to about `MOST_PX`, and what was mended."""
    assert figure.path
    picture, reasons = to_srgb(upright(stills.load(figure.path, intake, name=figure.name)))
    if (times := math.isqrt(picture.width * picture.height // MOST_PX)) > 1:
        weighted = picture.convert("RGBa") if picture.mode == "RGBA" else picture
        picture = weighted.reduce(times)
    return picture.convert("RGBA"), tuple(reason.model_copy(update={"file": figure.name}) for reason in reasons)


# -- text -------------------------------------------------------------------------------------------


def _lettered(figure: Figure, height: int) -> Image.Image:
    """Return the text in the typeface that comes with Pillow, so that the shop needs no font file.

    `height` is that of a line, from the highest ascender to the lowest descender.
    """
    line = sum(_font(100).getmetrics())
    font = _font(max(1.0, 100 * height / line))
    ascent, descent = font.getmetrics()
    mask = Image.new("L", (max(1, math.ceil(font.getlength(figure.text))), ascent + descent))
    ImageDraw.Draw(mask).text((0, ascent), figure.text, fill=255, font=font, anchor="ls")
    made = Image.new("RGBA", mask.size, figure.colour)
    made.putalpha(mask)
    return made


def ink_of(text: str) -> tuple[NDArray[np.float64], float]:
    """Return where the ink of a line of text is, and the line's width by its height.

    The ink is a few thousand points (n, 2) at most, in shares of the line's width and height.
    """
    line = _lettered(Figure("", text=text), INK_PX)
    rows, columns = np.nonzero(np.asarray(line.getchannel("A")) >= 128)
    points = np.stack([(columns + 0.5) / line.width, (rows + 0.5) / line.height], axis=1)
    return points[:: 1 + len(points) // MOST_POINTS], line.width / line.height


def letters_missing(text: str) -> str:
    """Return the letters of `text` that the typeface has no shape for."""
    return "".join(dict.fromkeys(letter for letter in text if letter.strip() and not _has_shape(letter)))


@lru_cache(maxsize=4096)
def _has_shape(letter: str) -> bool:
    font = _font(40)
    return bytes(font.getmask(letter)) != bytes(font.getmask("\uffff"))


def _font(size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont)  # Pillow's wheels carry FreeType
    return font
