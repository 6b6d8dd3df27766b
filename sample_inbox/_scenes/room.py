"""The library van's inside as the lantern finds it: the room in even light, and the evening outside.

Everything is drawn in one-point perspective from corners in the room, SCALE times too large.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from PIL import Image, ImageDraw

from _scenes.art import Colour, Point, frond, gradient, lettering, mix, rgb

SIZE = (768, 1024)
SCALE = 2
SHEET = (SIZE[0] * SCALE, SIZE[1] * SCALE)

# The room in units of half its width: x to the right, y up, z away from the eye.
CENTRE = (384.0, 520.0)
FOCAL = 400.0
FLOOR, SHELF_TOP, CEILING = -1.25, 0.90, 1.22
SLOPE = 0.68  # where the sloping roof meets the ceiling
BACK = 2.9
BAYS = (0.92, 1.36, 1.98, 2.82)  # where the uprights stand, near to far
ROWS = (-1.0, -0.52, -0.05, 0.42)  # where the boards lie
WALL, SPINES, EDGE = 1.0, 0.94, 0.87  # how far from the middle of the aisle

_SPINES = "#d9583b #e8a33d #f2cf7a #3f8f7f #2f6b74 #8fb996 #b8433f #ede0c8 #5d7fa8 #7a5c8e #c97b4a #4d7d4f"
BOOKS = [rgb(colour) for colour in _SPINES.split()]
WOOD, WOOD_LIGHT, WOOD_DARK = rgb("#a9683a"), rgb("#c98a50"), rgb("#6b3d26")
RECESS, PANEL, PANEL_DARK = rgb("#4a2e26"), rgb("#5b7f74"), rgb("#476a62")
SIGN, SIGN_ROUND = (150, 100, 618, 232), 26  # the hanging board, px
CREAM, GOLD = rgb("#f6e7c4"), rgb("#e9b75a")


def at(x: float, y: float, z: float) -> Point:
    """The room's point on the drawing sheet."""
    return (CENTRE[0] + FOCAL * x / z) * SCALE, (CENTRE[1] - FOCAL * y / z) * SCALE


def scaled(box: Sequence[int]) -> list[int]:
    return [v * SCALE for v in box]


Ink = ImageDraw.ImageDraw
Corner = tuple[float, float, float]


def _quad(ink: Ink, corners: list[Corner], colour: Colour) -> None:
    ink.polygon([at(*corner) for corner in corners], fill=colour)


def _along(ink: Ink, x: float, low: float, high: float, near: float, far: float, colour: Colour) -> None:
    """A rectangle that runs along the aisle."""
    _quad(ink, [(x, low, near), (x, high, near), (x, high, far), (x, low, far)], colour)


def _facing(ink: Ink, left: float, right: float, low: float, high: float, z: float, colour: Colour) -> None:
    """A rectangle that faces the eye."""
    _quad(ink, [(left, low, z), (right, low, z), (right, high, z), (left, high, z)], colour)


def _level(ink: Ink, left: float, right: float, y: float, near: float, far: float, colour: Colour) -> None:
    """A rectangle that lies flat."""
    _quad(ink, [(left, y, near), (right, y, near), (right, y, far), (left, y, far)], colour)


def painted_room() -> tuple[Image.Image, Image.Image]:
    """The room under even light, and a mask of the rear window's glass."""
    sheet = Image.new("RGB", SHEET, PANEL_DARK)
    mask = Image.new("L", SHEET, 0)
    ink = ImageDraw.Draw(sheet)
    _ceiling(ink)
    _floor(ink)
    _back_wall(ink, ImageDraw.Draw(mask))
    chance = random.Random(11)
    for bay in (2, 1, 0):
        for side in (-1, 1):
            _bay(ink, side, BAYS[bay], BAYS[bay + 1], chance)
    _bench(ink, ImageDraw.Draw(mask))
    _sign(ink)
    return sheet, mask


def _ceiling(ink: Ink) -> None:
    near = 0.6
    for side in (-1, 1):
        lower, upper = (side * WALL, SHELF_TOP), (side * SLOPE, CEILING)
        _quad(ink, [(*lower, near), (*upper, near), (*upper, BACK), (*lower, BACK)], PANEL)
    for number, (left, right) in enumerate(pairwise(np.linspace(-SLOPE, SLOPE, 8))):
        colour = mix(rgb("#7d9c8d"), rgb("#6d8e80"), number % 2)
        _level(ink, left, right, CEILING, near, BACK, colour)
    for z in BAYS:  # the ribs of the roof
        arch = [(-WALL, SHELF_TOP), (-SLOPE, CEILING), (SLOPE, CEILING), (WALL, SHELF_TOP)]
        under = [(0.94, SHELF_TOP), (0.65, CEILING - 0.06), (-0.65, CEILING - 0.06), (-0.94, SHELF_TOP)]
        _quad(ink, [(x, y, z) for x, y in arch + under], rgb("#9ab5a0"))


def _floor(ink: Ink) -> None:
    for number, (left, right) in enumerate(pairwise(np.linspace(-1, 1, 13))):
        colour = mix(rgb("#8a5a3c"), rgb("#7a4d34"), (number * 5 % 3) / 2)
        _level(ink, left, right, FLOOR, 0.8, BACK, colour)
    for reach, cloth in ((0.44, "#2b5560"), (0.40, "#e2c690"), (0.385, "#2f6b74")):
        end = BACK - 0.28 - (0.44 - reach)
        _level(ink, -reach, reach, FLOOR, 0.8, end, rgb(cloth))
    for z in np.arange(0.98, 2.5, 0.17):  # a row of leaves woven into the runner
        for side in (-1, 1):
            leaf = [(0, z), (side * 0.13, z + 0.015), (side * 0.27, z + 0.11), (side * 0.12, z + 0.085)]
            _quad(ink, [(x, FLOOR, depth) for x, depth in leaf], rgb("#7fb09a"))


def _arch(left: float, right: float, bottom: float, top: float) -> list[tuple[float, float, float]]:
    radius = (right - left) / 2
    turn = np.linspace(0, math.pi, 24)
    middle = (left + right) / 2
    curve = [(middle + radius * math.cos(a), top - radius + radius * math.sin(a), BACK) for a in turn]
    return [(right, bottom, BACK), *curve, (left, bottom, BACK)]


WINDOWS = ((-0.70, -0.05), (0.05, 0.70))


def _back_wall(ink: Ink, mask: Ink) -> None:
    outline = [(-1, FLOOR), (1, FLOOR), (1, SHELF_TOP), (SLOPE, CEILING), (-SLOPE, CEILING), (-1, SHELF_TOP)]
    _quad(ink, [(x, y, BACK) for x, y in outline], PANEL)
    for left, right in WINDOWS:
        _quad(ink, _arch(left - 0.045, right + 0.045, -0.40, 0.945), WOOD_LIGHT)
        _quad(ink, _arch(left, right, -0.36, 0.90), WOOD_DARK)
        glass = [at(*p) for p in _arch(left + 0.012, right - 0.012, -0.348, 0.888)]
        mask.polygon(glass, fill=255)
        middle = (left + right) / 2
        for bar in ((middle - 0.012, middle + 0.012, -0.36, 0.90), (left, right, 0.19, 0.214)):
            box = [at(bar[0], bar[3], BACK), at(bar[1], bar[2], BACK)]
            mask.rectangle([*box[0], *box[1]], fill=0)
            ink.rectangle([*box[0], *box[1]], fill=WOOD_LIGHT)


def _bench(ink: Ink, mask: Ink) -> None:
    """A seat under the window, with a fern that stands before the glass."""
    front, top = 2.62, -0.78
    _level(ink, -0.85, 0.85, top, front, BACK, WOOD_LIGHT)
    _facing(ink, -0.85, 0.85, FLOOR, top, front, WOOD)
    for x in (-0.42, 0.0, 0.42):
        _facing(ink, x - 0.008, x + 0.008, FLOOR, top, front, WOOD_DARK)
    left, upper = at(-0.85, top + 0.12, front)
    right, lower = at(0.85, top - 0.02, front)
    ink.rounded_rectangle((left, upper, right, lower), 10 * SCALE / 2, fill=rgb("#c9574a"))
    ink.rounded_rectangle((left, upper, right, upper + 7 * SCALE / 2), 4, fill=rgb("#df7560"))
    for side in (-1, 1):
        _potted_fern(ink, mask, side)


def _potted_fern(ink: Ink, mask: Ink, side: int) -> None:
    x, y = at(side * 0.62, -0.46, 2.6)
    for turn, reach in ((-1.0, 74), (-0.55, 92), (-0.1, 84), (0.35, 92), (0.85, 70)):
        shaded = mix(rgb("#3f7f55"), rgb("#2f6a4c"), abs(turn))
        sunny = mix(rgb("#7dbb74"), rgb("#5c9a62"), abs(turn))
        for where, colours in ((ink, (shaded, sunny)), (mask, (0, 0))):
            length = reach * SCALE / 2 * 1.15
            frond(where, (x, y), -math.pi / 2 + turn, length, colours, bend=turn * 0.9 + 0.1, pairs=11)
    unit = SCALE * 11
    pot = [(-1.0, -4.0), (1.0, -4.0), (0.72, unit * 1.7), (-0.72, unit * 1.7)]
    ink.polygon([(x + across * unit, y + down) for across, down in pot], fill=rgb("#b96a44"))
    ink.rectangle((x - unit * 1.12, y - 8, x + unit * 1.12, y + 4), fill=rgb("#d08459"))


def _bay(ink: Ink, side: int, near: float, far: float, chance: random.Random) -> None:
    """A stretch of shelves between two uprights."""
    edge = side * EDGE
    _along(ink, side * WALL, FLOOR, SHELF_TOP, near, far, RECESS)
    _facing(ink, side * WALL, edge, FLOOR, SHELF_TOP, far, WOOD_DARK)
    _along(ink, edge, FLOOR, ROWS[0], near, far, WOOD)
    inset = (far - near) * 0.12
    _along(ink, edge, FLOOR + 0.05, ROWS[0] - 0.05, near + inset, far - inset, mix(WOOD, WOOD_DARK, 0.35))
    for bottom, top in pairwise((*ROWS, SHELF_TOP)):
        _board(ink, side, bottom, near, far)
        _books(ink, side, bottom, top - bottom, near, far, chance)
    _board(ink, side, SHELF_TOP - 0.02, near, far)
    _along(ink, edge, FLOOR, SHELF_TOP, near, near * 1.035, WOOD_LIGHT)


def _board(ink: Ink, side: int, y: float, near: float, far: float) -> None:
    _level(ink, side * WALL, side * EDGE, y, near, far, mix(WOOD, WOOD_DARK, 0.5))
    _along(ink, side * EDGE, y - 0.035, y, near, far, WOOD_LIGHT)


def _books(ink: Ink, side: int, bottom: float, room: float, near: float, far: float, chance: random.Random) -> None:
    """Spines from far to near, thicker ones and slim ones, some with a band, now and then a gap."""
    z = far * 0.97
    last = BOOKS[0]
    while z > near * 1.05:
        thick = z * chance.uniform(0.034, 0.062)
        last = chance.choice([colour for colour in BOOKS if colour != last])
        high = room * chance.uniform(0.60, 0.86)
        nearer = max(z - thick, near * 1.045)
        if chance.random() > 0.06:
            _spine(_striper(ink, side * SPINES, bottom, high, nearer, z), last, chance.random())
        z = nearer - 0.002 * z


Stripe = Callable[[float, float, float, float, Colour], None]
"""A stripe of a spine: from and to in shares of its height, from and to in shares of its width, colour."""


def _striper(ink: Ink, x: float, bottom: float, high: float, near: float, far: float) -> Stripe:
    def stripe(low: float, top: float, start: float, end: float, colour: Colour) -> None:
        thick = far - near
        _along(ink, x, bottom + high * low, bottom + high * top, near + thick * start, near + thick * end, colour)

    return stripe


def _spine(stripe: Stripe, colour: Colour, style: float) -> None:
    stripe(0, 1, 0, 1, colour)
    stripe(0, 1, 0.78, 1, mix(colour, rgb("#20140f"), 0.28))  # the rounded back turns from the light
    if style < 0.45:
        stripe(0.74, 0.83, 0, 1, mix(colour, CREAM, 0.62) if style < 0.3 else mix(colour, GOLD, 0.7))
    elif style < 0.62:
        stripe(0.52, 0.80, 0.14, 0.86, mix(colour, CREAM, 0.75))


def _sign(ink: Ink) -> None:
    """The hanging board with the library's name."""
    unit = SCALE
    left, top, right, bottom = SIGN
    for x in (222, 546):
        ink.line([(x * unit, 0), (x * unit, 104 * unit)], fill=rgb("#d9b98a"), width=3 * unit // 2)
    ink.rounded_rectangle(scaled(SIGN), SIGN_ROUND * unit, fill=WOOD_LIGHT)
    ink.rounded_rectangle(scaled((left + 7, top + 7, right - 7, bottom - 7)), 20 * unit, fill=rgb("#1f4b4a"))
    line = scaled((left + 13, top + 13, right - 13, bottom - 13))
    ink.rounded_rectangle(line, 15 * unit, outline=rgb("#d8b070"), width=unit)
    lettering(ink, (384 * unit, 150 * unit), "FERN HOLLOW", 45 * unit, rgb("#ffffff"), 5 * unit)
    lettering(ink, (384 * unit, 194 * unit), "mobile library", 25 * unit, rgb("#ffdf9a"), 2.5 * unit)
    for side in (-1, 1):
        base = (384 + side * 112) * unit, 197 * unit
        heading = (0.0 if side > 0 else math.pi) - side * 0.12
        colours = rgb("#7fc48b"), rgb("#b6e0a0")
        frond(ink, base, heading, 92 * unit, colours, bend=-side * 0.25, pairs=12, fullness=0.2)


# -- sky --------------------------------------------------------------------------------------------

DUSK = (
    (0.37, "#101b46"),
    (0.43, "#2f3478"),
    (0.475, "#7d4a88"),
    (0.512, "#d9776c"),
    (0.542, "#f7c47e"),
    (1, "#f7c47e"),
)


def painted_sky() -> Image.Image:
    """What the rear windows look out on: the last of the evening over the hills, and a thin moon."""
    sheet = gradient(SHEET, DUSK)
    ink = ImageDraw.Draw(sheet)
    _stars(ink)
    _moon(ink, 452 * SCALE, 432 * SCALE, 13 * SCALE)
    for level, swing, colour in ((553, 6, "#7a466f"), (560, 4, "#47305c"), (567, 3, "#211f40")):
        ridge = [
            (x * SCALE, (level + swing * math.sin(x / 31 + level) + swing * 0.5 * math.sin(x / 11)) * SCALE)
            for x in range(240, 530, 3)
        ]
        ink.polygon([*ridge, (530 * SCALE, 640 * SCALE), (240 * SCALE, 640 * SCALE)], fill=rgb(colour))
    return sheet


def _stars(ink: Ink) -> None:
    chance = random.Random(4)
    for _ in range(60):
        x, y = chance.uniform(280, 490) * SCALE, chance.uniform(390, 480) * SCALE
        r = chance.choice((0.7, 0.9, 1.4)) * SCALE
        ink.ellipse((x - r, y - r, x + r, y + r), fill=rgb("#e8e2ff"))


def _moon(ink: Ink, x: float, y: float, r: float) -> None:
    ink.ellipse((x - r, y - r, x + r, y + r), fill=rgb("#fff3d0"))
    ink.ellipse((x - r * 1.5, y - r * 1.25, x + r * 0.55, y + r * 0.85), fill=rgb("#1b2456"))
