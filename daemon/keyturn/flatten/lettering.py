"""Words drawn that were laid out: letters, a line around them and a shadow below, as planes of light."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from keyturn.eye.luminance import LINEAR
from keyturn.flatten import fonts
from keyturn.flatten.fonts import FontFile
from keyturn.flatten.text_layout import SetText, direction
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.rulebook import Intake

Colour = tuple[int, int, int]
Size = tuple[int, int]

INK_PX, MOST_POINTS = 200, 3000
"""Where a text's ink is, is found in lines of this height, by this many points."""

MARGINS = (0.5, 2.0, 8.0)
"""Ink is looked for within so many ems around the words; most has half of it to spare."""

INK_MOST_PX = 20_000_000
"""... in a picture of at most so many pixels: 200 letters in a line of that height take 8 million."""

SIGMAS = 3.0
"""A Gaussian blur is gone beyond so many of its standard deviations: 0.3 % of it is left."""


@dataclass(frozen=True, slots=True)
class ShadowLook:
    """A shadow; offset and blur (a standard deviation) are in shares of a line's height."""

    colour: Colour
    offset: tuple[float, float]
    blur: float
    opacity: float

    @property
    def reach(self) -> float:
        """How far it reaches beyond the letters, in shares of a line's height."""
        return max(map(abs, self.offset)) + SIGMAS * self.blur


@dataclass(frozen=True, slots=True)
class TextLook:
    """The colours of words. `outline` is a colour and how far the line stands out, in shares of a line's height."""

    colour: Colour
    outline: tuple[Colour, float] | None = None
    shadow: ShadowLook | None = None

    @property
    def reach(self) -> float:
        """How far outline and shadow reach beyond the letters, in shares of a line's height."""
        width = self.outline[1] if self.outline else 0.0
        return width + (self.shadow.reach if self.shadow else 0.0)


@dataclass(frozen=True, slots=True)
class DrawnText:
    """Premultiplied linear light and alpha (rows, columns, 4) of words, with an even margin all around.

    `width` and `height` are those of the words without it, in pixels.
    """

    light: NDArray[np.float32]
    width: float
    height: float


def drawn(words: SetText, look: TextLook, height: float, most_px: int, intake: Intake) -> DrawnText:
    """Return the words `height` pixels high, or smaller where they would have more than `most_px` pixels.

    Raise `Refused` where a font cannot be read, OSError where the shop's disk fails.
    """
    margin = words.overhang + look.reach * words.line
    em = min(height / words.height, math.sqrt(most_px / _area(words, margin)))
    pen = _Pen(words, em, math.ceil(margin * em) + 1, intake)
    light = np.zeros((*pen.size[::-1], 4), np.float32)
    for mask, colour, opacity in _layers(pen, look, words.line * em):
        alpha = np.asarray(mask, np.float32)[..., None] * np.float32(opacity / 255)
        above = np.concatenate([LINEAR[np.asarray(colour, np.uint8)] * alpha, alpha], axis=-1)
        light = above + (1 - alpha) * light
    return DrawnText(light, words.width * em, words.height * em)


def _area(words: SetText, margin: float) -> float:
    """Return the area of the words with a margin, in square ems."""
    return max(1e-6, (words.width + 2 * margin) * (words.height + 2 * margin))


def _layers(pen: _Pen, look: TextLook, line_px: float) -> Iterator[tuple[Image.Image, Colour, float]]:
    """Yield masks, colours and opacities from the lowest to the uppermost."""
    stroke = look.outline[1] * line_px if look.outline else 0.0
    if shadow := look.shadow:
        across, down = (length * line_px for length in shadow.offset)
        mask = pen.mask(stroke, (across, down))
        yield mask.filter(ImageFilter.GaussianBlur(shadow.blur * line_px)), shadow.colour, shadow.opacity
    if look.outline:
        yield pen.mask(stroke), look.outline[0], 1.0
    yield pen.mask(), look.colour, 1.0


@dataclass(frozen=True, slots=True)
class _Pen:
    """What draws the runs of words, whose em is `em` pixels, in the middle of a picture with a margin."""

    words: SetText
    em: float
    margin: int
    intake: Intake

    @property
    def size(self) -> Size:
        wide, high = (math.ceil(length * self.em) + 2 * self.margin for length in (self.words.width, self.words.height))
        return wide, high

    def mask(self, stroke: float = 0.0, moved: tuple[float, float] = (0.0, 0.0)) -> Image.Image:
        """Return how much of each pixel the letters cover, made wider by `stroke` pixels all around."""
        made = Image.new("L", self.size)
        ink = ImageDraw.Draw(made)
        left = (made.width - self.words.width * self.em) / 2 + moved[0]
        top = (made.height - self.words.height * self.em) / 2 + moved[1]
        for run in self.words.runs:
            file = self.words.fonts[run.font]
            at = left + run.x * self.em, top + run.y * self.em
            with fonts.letters_of(file):
                font = _sized(file, file.version, self.words.weight, self.em, self.intake)
                ink.text(at, run.text, 255, font, anchor="ls", stroke_width=stroke, direction=direction(run.rtl))
        return made


@lru_cache(maxsize=8)
def _sized(
    file: FontFile, version: FileIdentity | None, weight: int | None, em: float, intake: Intake
) -> ImageFont.FreeTypeFont:
    return fonts.opened(file, version, intake).sized(em, weight, fonts.engine())


def inked(words: SetText, intake: Intake) -> tuple[SetText, NDArray[np.float64]]:
    """Return the words with their overhang, and where the ink of their letters is.

    That is at most a few thousand points (n, 2), in shares of width and height. Raise as `drawn` does.
    """
    for margin in MARGINS:
        em = min(INK_PX / words.line, math.sqrt(INK_MOST_PX / _area(words, margin)))
        pen = _Pen(words, em, math.ceil(margin * em) + 1, intake)
        mask = pen.mask()
        box = mask.getbbox()
        if box and min(*box[:2], mask.width - box[2], mask.height - box[3]) > 0:
            break
    rows, columns = np.nonzero(np.asarray(mask) >= 128)
    every = 1 + len(rows) // MOST_POINTS
    size = np.maximum(np.array([words.width, words.height]) * em, 1e-9)
    corner = (np.array(mask.size) - size) / 2
    points: NDArray[np.float64] = (np.stack([columns + 0.5, rows + 0.5], axis=1)[::every] - corner) / size
    beyond = max(*(corner - box[:2]), *(box[2:] - corner - size), 0.0) if box else 0.0
    return replace(words, overhang=float(beyond) / em), points
