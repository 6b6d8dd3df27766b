"""ferry-glide: an empty lake in the early morning and the ferry that crosses it. Keyturn draws the frames."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from _scenes.art import as_picture, frond, gradient, lettering, rgb, shrunk

SIZE = (1280, 720)
SCALE = 2
SHORE = 392  # px from the top: above land, below water
SUN = (930, 268)

FERRY = (600, 400)  # the sprite, a good deal larger than it is shown
WATERLINE = 268  # px from the sprite's top
FINE = 4

Ink = ImageDraw.ImageDraw
Plane = NDArray[np.float64]


def draw(folder: Path) -> None:
    lake().save(folder / "lake.png", optimize=True)
    ferry().save(folder / "ferry.png", optimize=True)


# -- the lake ---------------------------------------------------------------------------------------

DAWN = ((0, "#2c5878"), (0.20, "#5f8ba3"), (0.36, "#b9c4b8"), (0.47, "#f6d9ac"), (0.545, "#ffe9c4"), (1, "#ffe9c4"))


def lake() -> Image.Image:
    sheet = gradient((SIZE[0] * SCALE, SIZE[1] * SCALE), DAWN)
    ink = ImageDraw.Draw(sheet)
    _sun(ink)
    _hills(ink)
    sheet = _on_water(shrunk(sheet, SCALE))
    for colour, shape in (*_near_bank(), *_title()):
        sheet.paste(colour, (0, 0), shape)
    return sheet


def _title() -> list[tuple[Image.Image, Image.Image]]:
    """Each line's colour and shape."""
    made = []
    for text, y, size, space, colour in (
        ("FERN HOLLOW FERRY", 92, 54, 9, "#fff6e2"),
        ("every hour on the hour", 142, 25, 3, "#ffe7bd"),
    ):
        mask = Image.new("RGB", (SIZE[0] * SCALE, SIZE[1] * SCALE))
        centre = 640.0 * SCALE, float(y * SCALE)
        lettering(ImageDraw.Draw(mask), centre, text, size * SCALE, rgb("#ffffff"), space * SCALE)
        made.append((Image.new("RGB", SIZE, rgb(colour)), shrunk(mask, SCALE).getchannel("R")))
    return made


def _sun(ink: Ink) -> None:
    x, y = SUN
    for radius, colour in ((58, "#fff0d0"), (44, "#fff6e0"), (32, "#fffbef")):
        ink.ellipse([v * SCALE for v in (x - radius, y - radius, x + radius, y + radius)], fill=rgb(colour))


def _hills(ink: Ink) -> None:
    """Ridge behind ridge, each nearer one darker, the last with firs along its line."""
    for level, swing, length, phase, colour in (
        (286, 46, 210, 0.4, "#b3bcb4"),
        (322, 34, 150, 2.2, "#8fa7a5"),
        (350, 24, 118, 4.1, "#668b8d"),
        (374, 13, 84, 1.0, "#41706f"),
    ):
        line = [(float(x), _ridge(x, level, swing, length, phase)) for x in range(-4, SIZE[0] + 5, 4)]
        outline = [*line, (SIZE[0] + 4.0, SHORE + 2.0), (-4.0, SHORE + 2.0)]
        ink.polygon([(x * SCALE, y * SCALE) for x, y in outline], fill=rgb(colour))
    _firs(ink)


def _ridge(x: float, level: float, swing: float, length: float, phase: float) -> float:
    return level - swing * (0.62 * math.sin(x / length + phase) + 0.38 * math.sin(x / length * 2.7 + phase * 3))


def _firs(ink: Ink) -> None:
    chance = random.Random(7)
    for x in range(-6, SIZE[0] + 12, 9):
        foot = _ridge(x, 374, 13, 84, 1.0) + 6
        thick = 0.35 + 0.65 * abs(math.sin(x / 173 + 0.6))
        high = (14 + 26 * chance.random()) * thick
        for step in range(4):
            top, half = foot - high * (1 - step * 0.2), high * (0.10 + 0.055 * step)
            low = top + high * 0.4
            points = [(x, top), (x + half, low), (x - half, low)]
            ink.polygon([(px * SCALE, py * SCALE) for px, py in points], fill=rgb("#2f5e5f"))
    ink.rectangle([v * SCALE for v in (0, SHORE - 10, SIZE[0], SHORE)], fill=rgb("#2f5e5f"))


def _on_water(sheet: Image.Image) -> Image.Image:
    """Below the shore the land upside down, drawn long, stirred a little, and bluer the nearer it is."""
    land = np.asarray(sheet, dtype=float)
    made = land.copy()
    depth = SIZE[1] - SHORE
    columns = np.arange(SIZE[0])
    for row in range(depth):
        near = row / depth
        above = SHORE - 1 - row * 1.04
        stir = (1.2 + 7 * near) * math.sin(row * 0.55 + 2.4 * math.sin(row * 0.11))
        line = land[int(max(0, above)), np.clip(np.rint(columns + stir), 0, SIZE[0] - 1).astype(int)]
        made[SHORE + row] = _tinted(line, near)
    _glitter(made)
    made[SHORE : SHORE + 2] = made[SHORE : SHORE + 2] * 0.35 + np.array(rgb("#e9dcb9")) * 0.65
    return as_picture(made)


def _tinted(line: Plane, near: float) -> Plane:
    deep = np.array(rgb("#3d7287")) * (1 - near) + np.array(rgb("#173f58")) * near
    return line + (deep - line) * (0.22 + 0.5 * near)


def _glitter(made: Plane) -> None:
    """The sun's path: short bright strokes that widen towards the eye."""
    chance = random.Random(3)
    mask = Image.new("L", (SIZE[0] * SCALE, SIZE[1] * SCALE), 0)
    ink = ImageDraw.Draw(mask)
    for row in range(SHORE + 6, SIZE[1] - 60, 7):
        near = (row - SHORE) / (SIZE[1] - SHORE)
        for _ in range(2):
            x = SUN[0] + chance.uniform(-1, 1) * (14 + 70 * near)
            half, high = chance.uniform(10, 26) * (0.5 + 1.2 * near), 1.4 + 2.2 * near
            box = [v * SCALE for v in (x - half, row - high / 2, x + half, row + high / 2)]
            ink.rounded_rectangle(box, high * SCALE / 2, fill=round(205 * (1 - near) ** 0.7))
    share = np.asarray(shrunk(mask, SCALE), dtype=float)[..., None] / 255
    made += (np.array(rgb("#fff1cf")) - made) * share


def _near_bank() -> list[tuple[Image.Image, Image.Image]]:
    """What frames the view: the landing stage with its lantern on the left, ferns on the right."""
    size = SIZE[0] * SCALE, SIZE[1] * SCALE
    sheet, shape = Image.new("RGB", size, rgb("#12303a")), Image.new("L", size, 0)
    for ink, fill in ((ImageDraw.Draw(sheet), None), (ImageDraw.Draw(shape), 255)):
        _stage(ink, fill)
        _ferns(ink, fill)
    return [(shrunk(sheet, SCALE), shrunk(shape, SCALE))]


def _stage(ink: Ink, fill: int | None) -> None:
    def box(left: float, top: float, right: float, bottom: float, colour: str, round_px: float = 0) -> None:
        ink.rounded_rectangle(
            [v * SCALE for v in (left, top, right, bottom)], round_px * SCALE, fill=fill or rgb(colour)
        )

    for x in (26, 128, 226):
        box(x - 9, 612, x + 9, 740, "#1b2f33", 4)
    box(-10, 630, 262, 643, "#6d5a48")
    box(-10, 641, 262, 653, "#3c3a38")
    box(205, 556, 211, 626, "#1b2f33")
    box(211, 556, 236, 561, "#1b2f33")
    box(226, 561, 246, 567, "#1b2f33", 3)
    box(228, 567, 244, 590, "#ffdf94", 4)
    box(226, 588, 246, 594, "#1b2f33", 3)


def _ferns(ink: Ink, fill: int | None) -> None:
    base = 1236 * SCALE, 752 * SCALE
    for heading, length, bend in ((-2.55, 225, 0.25), (-2.15, 205, 0.2), (-1.75, 185, -0.05), (-2.9, 200, 0.35)):
        colours = (fill, fill) if fill else (rgb("#1c4a40"), rgb("#2f6d55"))
        frond(ink, base, heading, length * SCALE, colours, bend=bend, pairs=18, fullness=0.24)


# -- the ferry --------------------------------------------------------------------------------------


def ferry() -> Image.Image:
    """A small ferry of no make, see-through all around, with its image in the water."""
    size = FERRY[0] * FINE, FERRY[1] * FINE
    boat, wake = (Image.new("RGBA", size, (*rgb("#b8432f"), 0)) for _ in range(2))
    _boat(Pen(ImageDraw.Draw(boat)))
    _wake(Pen(ImageDraw.Draw(wake)))
    boat, wake = (layer.convert("RGBa").reduce(FINE).convert("RGBA") for layer in (boat, wake))
    wake.putalpha(wake.getchannel("A").point([round(v * 0.6) for v in range(256)]))
    made = _mirrored(boat)
    made.alpha_composite(boat)
    made.alpha_composite(wake)
    return made


def _mirrored(boat: Image.Image) -> Image.Image:
    pixels = np.asarray(boat, dtype=float)
    made = np.zeros_like(pixels)
    made[..., :3] = rgb("#24505f")
    for row in range(FERRY[1] - WATERLINE):
        share = row / (FERRY[1] - WATERLINE)
        above = WATERLINE - 1 - int(row * 1.5)
        if above < 0:
            break
        line = np.roll(pixels[above], round((1 + 7 * share) * math.sin(row * 0.5)), axis=0)
        line[:, :3] += (np.array(rgb("#24505f")) - line[:, :3]) * (0.35 + 0.3 * share)
        line[:, 3] *= 0.62 * (1 - share) ** 1.3
        made[WATERLINE + row] = line
    picture = Image.fromarray(np.clip(np.rint(made), 0, 255).astype(np.uint8), "RGBA")
    return picture.convert("RGBa").filter(ImageFilter.GaussianBlur(1.2)).convert("RGBA")


@dataclass(frozen=True)
class Pen:
    """Draws in the sprite's pixels on a sheet that is `FINE` times as large."""

    ink: Ink

    def shape(self, points: list[tuple[float, float]], colour: str) -> None:
        self.ink.polygon([(x * FINE, y * FINE) for x, y in points], fill=(*rgb(colour), 255))

    def box(self, left: float, top: float, right: float, bottom: float, colour: str, corner: float = 0) -> None:
        edges = [v * FINE for v in (left, top, right, bottom)]
        self.ink.rounded_rectangle(edges, corner * FINE, fill=(*rgb(colour), 255))

    def line(self, points: list[tuple[float, float]], thick: int, colour: str) -> None:
        self.ink.line([(x * FINE, y * FINE) for x, y in points], (*rgb(colour), 255), thick * FINE, joint="curve")


def _boat(pen: Pen) -> None:
    _masts(pen)
    _cabin(pen)
    pen.shape([(38, 190), (566, 182), (540, 236), (512, WATERLINE), (72, WATERLINE), (52, 238)], "#b8432f")
    pen.shape([(52, 238), (540, 236), (512, WATERLINE), (72, WATERLINE)], "#8f3226")
    pen.shape([(38, 190), (566, 182), (559, 198), (42, 205)], "#f6e7c8")
    for x in range(96, 520, 52):
        pen.box(x, 214, x + 14, 228, "#f6d08c", 7)
    pen.line([(468, 166), (508, 160), (552, 157)], 4, "#f6e7c8")
    for x, y in ((488, 163), (530, 158), (550, 157)):
        pen.line([(x, y), (x, 192)], 3, "#f6e7c8")


def _masts(pen: Pen) -> None:
    """The funnel, the stern's flag, which streams behind, and the bow's lantern."""
    pen.shape([(214, 46), (262, 46), (268, 110), (206, 110)], "#d99a42")
    pen.shape([(214, 46), (262, 46), (264, 62), (212, 62)], "#7d3325")
    pen.box(78, 40, 83, 196, "#6a4630")
    pen.shape([(78, 42), (26, 54), (78, 72)], "#d99a42")
    pen.box(508, 100, 512, 190, "#6a4630")
    pen.box(503, 92, 517, 108, "#ffe6b0", 6)


def _cabin(pen: Pen) -> None:
    pen.box(128, 118, 452, 194, "#f8efd8", 10)
    pen.box(128, 176, 452, 194, "#e4d6b6", 4)
    pen.box(112, 106, 470, 122, "#1f5666", 8)
    for number in range(7):
        left = 148 + number * 42
        pen.box(left, 132, left + 32, 164, "#2f6b7c", 6)
        pen.box(left + 2, 134, left + 30, 149, "#ffdf9c", 5)
    pen.box(380, 62, 462, 110, "#f8efd8", 8)
    pen.box(370, 52, 476, 66, "#1f5666", 7)
    pen.box(412, 72, 456, 96, "#2f6b7c", 5)
    pen.box(412, 72, 456, 84, "#ffe6b0", 5)


def _wake(pen: Pen) -> None:
    """Foam at the bow, and what the stern leaves behind."""
    for left, right, y, thick in (
        (2, 96, 266, 4),
        (22, 150, 276, 3),
        (0, 70, 287, 3),
        (486, 548, 266, 4),
        (470, 522, 275, 3),
    ):
        pen.box(left, y, right, y + thick, "#dfeae2", thick / 2)
