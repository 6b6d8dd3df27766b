"""six-vans: a meadow in the evening and the van that stops in it. Keyturn draws the frames, and a name for each van."""

from __future__ import annotations

import math
import random
from pathlib import Path

from PIL import Image, ImageDraw

from _scenes.art import frond, gradient, rgb, shrunk
from _scenes.glide import FINE, Pen

SIZE = (1024, 600)
SCALE = 2
ROAD = 470  # px from the top
VAN = (560, 320)  # the sprite, larger than it is shown

EVENING = ((0, "#2b4a63"), (0.3, "#6f8ea0"), (0.52, "#d8b994"), (0.66, "#f2cf9f"), (1, "#f2cf9f"))


def draw(folder: Path) -> None:
    meadow().quantize(160, dither=Image.Dither.NONE).save(folder / "meadow.png", optimize=True)
    van().save(folder / "van.png", optimize=True)


def meadow() -> Image.Image:
    sheet = gradient((SIZE[0] * SCALE, SIZE[1] * SCALE), EVENING)
    ink = ImageDraw.Draw(sheet)
    for level, swing, length, phase, colour in (
        (330, 40, 190, 0.3, "#8d9d92"),
        (372, 30, 140, 2.0, "#6b8a78"),
        (412, 20, 110, 4.4, "#4a7360"),
    ):
        line = [(float(x), _ridge(x, level, swing, length, phase)) for x in range(-4, SIZE[0] + 5, 4)]
        outline = [*line, (SIZE[0] + 4.0, float(SIZE[1])), (-4.0, float(SIZE[1]))]
        ink.polygon([(x * SCALE, y * SCALE) for x, y in outline], fill=rgb(colour))
    ink.rectangle([0, (ROAD - 34) * SCALE, SIZE[0] * SCALE, SIZE[1] * SCALE], fill=rgb("#35594b"))
    ink.rectangle([0, ROAD * SCALE, SIZE[0] * SCALE, (ROAD + 62) * SCALE], fill=rgb("#4b4f55"))
    for x in range(20, SIZE[0], 120):
        ink.rectangle([v * SCALE for v in (x, ROAD + 29, x + 56, ROAD + 33)], fill=rgb("#c9c2ae"))
    _ferns(ink)
    return shrunk(sheet, SCALE)


def _ridge(x: float, level: float, swing: float, length: float, phase: float) -> float:
    return level - swing * (0.7 * math.sin(x / length + phase) + 0.3 * math.sin(x / length * 2.3 + phase * 2))


def _ferns(ink: ImageDraw.ImageDraw) -> None:
    """Along the near edge of the road; the same ones each time."""
    chance = random.Random(5)
    for x in range(-10, SIZE[0] + 40, 46):
        for lean in (-0.5, 0.0, 0.5):
            base = ((x + chance.uniform(-8, 8)) * SCALE, (SIZE[1] + 12) * SCALE)
            high = chance.uniform(48, 78) * SCALE
            frond(ink, base, -math.pi / 2 + lean, high, (rgb("#1d3f35"), rgb("#2c5a48")), bend=lean * 0.6, pairs=9)


def van() -> Image.Image:
    """A library's van of no make, with see-through ground: shelves behind its windows, books in its side."""
    sheet = Image.new("RGBA", (VAN[0] * FINE, VAN[1] * FINE), (*rgb("#3d6b5c"), 0))
    pen = Pen(ImageDraw.Draw(sheet))
    pen.box(20, 40, 470, 250, "#3d6b5c", 26)
    pen.shape([(452, 92), (500, 98), (538, 168), (540, 250), (440, 250), (440, 92)], "#3d6b5c")
    pen.box(20, 196, 540, 252, "#2f5447", 14)
    pen.shape([(462, 110), (494, 114), (520, 166), (462, 166)], "#f3dfb4")
    pen.box(20, 182, 470, 190, "#e8d9b0")
    _books(pen)
    for x in (118, 442):
        _wheel(pen, x)
    pen.box(520, 196, 542, 214, "#ffe6a6", 6)
    pen.box(14, 200, 24, 222, "#b8432f", 4)
    return sheet.convert("RGBa").reduce(FINE).convert("RGBA")


def _books(pen: Pen) -> None:
    """Two windows with a shelf each."""
    chance = random.Random(11)
    colours = ("#b8432f", "#d8a24a", "#5b7fa0", "#e8d9b0", "#7a5a86")
    for left in (56, 256):
        pen.box(left, 68, left + 170, 166, "#f3dfb4", 10)
        x = left + 10
        while x < left + 150:
            wide, high = chance.randint(10, 17), chance.randint(46, 74)
            pen.box(x, 158 - high, x + wide, 158, chance.choice(colours), 2)
            x += wide + 2
        pen.box(left, 156, left + 170, 164, "#6d5a48")


def _wheel(pen: Pen, x: float) -> None:
    pen.box(x - 44, 206, x + 44, 294, "#22282b", 44)
    pen.box(x - 24, 226, x + 24, 274, "#c9c2ae", 24)
    pen.box(x - 8, 242, x + 8, 258, "#6d5a48", 8)
