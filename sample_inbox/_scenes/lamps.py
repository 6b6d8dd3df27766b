"""lamp-by-lamp: a lantern floats down the aisle of the library van and wakes the shelves one by one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from _scenes.art import Point, as_picture, rgb, save_flat, shared_palette, shrunk, smooth
from _scenes.room import (
    BAYS,
    CEILING,
    EDGE,
    FLOOR,
    FOCAL,
    SCALE,
    SHEET,
    SHELF_TOP,
    SIGN,
    SIGN_ROUND,
    SIZE,
    SLOPE,
    WALL,
    WOOD_DARK,
    at,
    painted_room,
    painted_sky,
    scaled,
)

FRAMES = 48
COLOURS = 136

AMBIENT = np.array([0.33, 0.37, 0.51])
WARM = np.array([0.76, 0.60, 0.33])
GLOW = np.array([255.0, 190.0, 96.0])

Light = NDArray[np.float64]


def draw(folder: Path) -> None:
    scene = Scene.built()
    frames = [scene.frame(number / (FRAMES - 1)) for number in range(FRAMES - 1)]
    frames.append(frames[0])  # the scene ends exactly as it began
    details = [frames[0].crop((285, 390, 485, 570)).resize((768, 1382)), *[frames[0].crop(SIGN)] * 4]
    palette = shared_palette([*(frames[n] for n in (0, 8, 16, 24, 32, 40)), *details], COLOURS)
    for number, frame in enumerate(frames, 1):
        save_flat(frame, folder / "lamps" / f"{number:04d}.png", palette)
    save_flat(frames[0], folder / "logo.png", palette)


# -- light ------------------------------------------------------------------------------------------

# Where the lantern goes; home is the bench under the rear window.
PATH = (
    (0.0, -0.42, 2.55),
    (-0.50, -0.05, 2.30),
    (-0.55, 0.30, 1.66),
    (-0.42, 0.00, 1.20),
    (0.0, -0.38, 1.08),
    (0.42, 0.02, 1.20),
    (0.55, 0.30, 1.66),
    (0.50, -0.05, 2.30),
    (0.0, -0.42, 2.55),
)
TRAVEL = 0.80  # share of the film the lantern is under way
FADE_FROM = 0.70
ORDER = ((-1, 2), (-1, 1), (-1, 0), (1, 0), (1, 1), (1, 2))  # (side, bay) as the lantern meets them


def lantern_at(t: float) -> tuple[float, float, float]:
    """A closed Catmull-Rom curve through PATH, starting and ending gently."""
    way = _eased(t / TRAVEL) * (len(PATH) - 1)
    leg = min(int(way), len(PATH) - 2)
    u = way - leg
    before, start, end, after = (PATH[min(max(i, 0), len(PATH) - 1)] for i in range(leg - 1, leg + 3))
    x, y, z = (
        0.5 * (2 * b + (c - a) * u + (2 * a - 5 * b + 4 * c - d) * u**2 + (3 * b - a - 3 * c + d) * u**3)
        for a, b, c, d in zip(before, start, end, after, strict=True)
    )
    return x, y, z


def _eased(t: float) -> float:
    """Even speed in the middle, half a leg of easing at both ends."""
    t = min(1.0, max(0.0, t))
    return 0.65 * t + 0.35 * smooth(t)


def bay_light(number: int, t: float) -> float:
    """How brightly the bay that comes `number`th stands at `t`: it wakes in turn, and all doze off together."""
    legs = (1, 2, 3, 5, 6, 7)
    wakes = TRAVEL * (legs[number] - 0.6) / (len(PATH) - 1)
    asleep = 1 - smooth((t - FADE_FROM) / (1 - FADE_FROM - 0.02))
    return smooth((t - wakes) / 0.11) * asleep


def rings(centre: Point, radius: float, steps: int) -> Light:
    """A pool of light in flat steps, 1 in the middle, 0 outside; drawn as a person would cut it from paper."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    share = np.hypot(x - centre[0], (y - centre[1])) / radius
    level = np.clip(1 - share, 0, 1) ** 1.2 * steps
    floor = np.floor(level)
    edge = np.clip((level - floor) * radius / steps / 1.4, 0, 1)  # a soft pixel at each step
    pool: Light = (np.maximum(floor - 1, 0) * (1 - edge) + floor * edge) / steps
    return pool


@dataclass(frozen=True)
class Scene:
    """`paint` is the room in daylight, `sky` what shines by itself, `bays` and `sign` where their light falls."""

    paint: Light
    sky: Light
    sky_mask: Light
    bays: tuple[Light, ...]
    sign: Light

    @classmethod
    def built(cls) -> Scene:
        paint, mask = painted_room()
        return cls(
            np.asarray(shrunk(paint, SCALE), dtype=float),
            np.asarray(shrunk(painted_sky(), SCALE), dtype=float),
            np.asarray(shrunk(mask, SCALE), dtype=float)[..., None] / 255,
            tuple(bay_mask(side, bay) for side, bay in ORDER),
            sign_light(),
        )

    def frame(self, t: float) -> Image.Image:
        x, y, z = lantern_at(t)
        px, py = (v / SCALE for v in at(x, y, z))
        near = FOCAL / z
        light = sum((bay_light(n, t) * m for n, m in enumerate(self.bays)), np.zeros(SIZE[::-1]))
        halo = rings((px, py), 130 + near * 0.5, 7)
        light = np.minimum(light + halo * 0.75 + self.sign, 1.12)[..., None]
        room = self.paint * (AMBIENT + WARM * light)
        shown = room * (1 - self.sky_mask) + self.sky * self.sky_mask
        glow = (rings((px, py), near * 0.34, 5) * 0.55)[..., None]
        shown = shown + (GLOW - shown) * glow
        return with_lantern(as_picture(shown), (px, py), near * 0.062)


def bay_mask(side: int, bay: int) -> Light:
    """The bay's stretch of wall, its slope of ceiling and a pool on the floor."""
    near, far = BAYS[bay], BAYS[bay + 1]
    sheet = Image.new("L", SHEET, 0)
    ink = ImageDraw.Draw(sheet)
    _pool(ink, side, near, far)
    lower, upper = (side * WALL, SHELF_TOP), (side * SLOPE, CEILING)
    ink.polygon([at(*lower, near), at(*upper, near), at(*upper, far), at(*lower, far)], fill=140)
    wall = [at(side * EDGE, y, z) for y, z in ((FLOOR, near), (SHELF_TOP, near), (SHELF_TOP, far), (FLOOR, far))]
    ink.polygon(wall, fill=255)
    ink.rounded_rectangle(scaled(SIGN), SIGN_ROUND * SCALE, fill=round(60 + 15 * bay))  # it hangs before them
    return np.asarray(shrunk(sheet, SCALE), dtype=float) / 255


def sign_light() -> Light:
    """The name can be read even when all is dark."""
    sheet = Image.new("L", SHEET, 0)
    ImageDraw.Draw(sheet).rounded_rectangle(scaled(SIGN), SIGN_ROUND * SCALE, fill=190)
    return np.asarray(shrunk(sheet, SCALE), dtype=float) / 255


def _pool(ink: ImageDraw.ImageDraw, side: int, near: float, far: float) -> None:
    middle = math.sqrt(near * far)
    for step, value in enumerate((45, 90, 130)):
        reach = 1.2 - step * 0.34
        ring = [
            at(side * 0.52 + math.cos(a) * 0.46 * reach, FLOOR, middle + math.sin(a) * (far - near) * 0.55 * reach)
            for a in np.linspace(0, 2 * math.pi, 48, endpoint=False)
        ]
        ink.polygon(ring, fill=value)


def with_lantern(picture: Image.Image, centre: Point, radius: float) -> Image.Image:
    """The lantern itself: a paper ball with a cap and a loop, drawn large and laid on."""
    scale, half = 4, math.ceil(radius * 2.6)
    left, top = int(centre[0]) - half, int(centre[1]) - half
    sheet = picture.crop((left, top, left + 2 * half, top + 2 * half)).resize((half * 2 * scale,) * 2)
    ink = ImageDraw.Draw(sheet)
    x, y, r = (centre[0] - left) * scale, (centre[1] - top) * scale, radius * scale
    ink.arc((x - r * 0.55, y - r * 2.1, x + r * 0.55, y - r), 180, 360, fill=WOOD_DARK, width=max(2, round(r * 0.14)))
    ink.ellipse((x - r, y - r, x + r, y + r), fill=rgb("#ffcf78"))
    ink.ellipse((x - r * 0.74, y - r * 0.86, x + r * 0.74, y + r * 0.86), fill=rgb("#ffe6ac"))
    ink.ellipse((x - r * 0.42, y - r * 0.62, x + r * 0.42, y + r * 0.62), fill=rgb("#fff8e2"))
    for sign in (-1, 1):
        box = sorted((y + sign * r * 0.84, y + sign * r * 1.08))
        ink.rounded_rectangle((x - r * 0.5, box[0], x + r * 0.5, box[1]), r * 0.1, fill=rgb("#7a4a2a"))
    small = shrunk(sheet, scale)
    picture.paste(small, (left, top))
    return picture
