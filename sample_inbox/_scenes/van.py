"""second-van: the library's van beside a lake at dusk, painted like a photograph, and a slow push-in."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from _scenes.art import as_picture, gradient, lettering, rgb, shrunk, smooth

STILL = (1600, 1200)
FRAME = (1024, 768)
FRAMES = 18
SHORE = 790  # px from the top of the still: above land, below water
AIM = (0.60, 0.60)  # where the push-in goes, shares of the still
CLOSEST = 0.78  # share of the still that is left at the end
SCALE = 2

Plane = NDArray[np.float64]


def draw(folder: Path) -> None:
    (folder / "push-in").mkdir(parents=True, exist_ok=True)
    still = photograph()
    still.save(folder / "dusk.jpg", quality=85, optimize=True, progressive=True)
    for number in range(FRAMES):
        share = 1 - (1 - CLOSEST) * smooth(number / (FRAMES - 1))
        framed(still, share).save(
            folder / "push-in" / f"dusk_{number + 1:02d}.jpg", quality=85, optimize=True, progressive=True
        )


def framed(still: Image.Image, share: float) -> Image.Image:
    width, height = STILL[0] * share, STILL[1] * share
    left, top = (STILL[0] - width) * AIM[0], (STILL[1] - height) * AIM[1]
    return still.resize(FRAME, Image.Resampling.LANCZOS, box=(left, top, left + width, top + height))


def photograph() -> Image.Image:
    noise = np.random.default_rng(1200)
    land = np.asarray(_land(noise), dtype=float)
    picture = land.copy()
    depth = STILL[1] - SHORE
    picture[SHORE:] = _mirrored(land[SHORE - depth : SHORE][::-1], noise)
    return as_picture(_grain(_vignette(picture), noise))


def cloud(noise: np.random.Generator, size: tuple[int, int], across: int, down: int, octaves: int = 4) -> Plane:
    """Fractal value noise from 0 to 1; `across` by `down` patches in its coarsest octave."""
    total, weight, whole = np.zeros(size[::-1]), 1.0, 0.0
    for octave in range(octaves):
        grid = noise.random((down * 2**octave + 2, across * 2**octave + 2)).astype(np.float32)
        total += weight * np.asarray(Image.fromarray(grid, "F").resize(size, Image.Resampling.BICUBIC), dtype=float)
        whole += weight
        weight *= 0.5
    return np.clip(total / whole, 0, 1)


DUSK = ((0, "#16224f"), (0.26, "#44437f"), (0.42, "#a8618a"), (0.55, "#f0946d"), (0.62, "#fbcf8c"), (1, "#fbcf8c"))


def _land(noise: np.random.Generator) -> Image.Image:
    """All that stands above the water line."""
    picture = _clouds(np.asarray(gradient(STILL, DUSK), dtype=float), noise)
    for level, swing, patches, colour, haze in (
        (640, 120, 3, "#6d5687", 0.55),
        (700, 90, 5, "#493f6d", 0.34),
        (742, 64, 8, "#2a2b4e", 0.16),
    ):
        picture = _ridge(picture, noise, level, swing, patches, colour, haze)
    picture = _bank(picture, noise)
    sheet = as_picture(picture)
    _trees(sheet, noise)
    sheet = sheet.filter(ImageFilter.GaussianBlur(1.8))  # behind the van's plane of focus
    _glow(sheet)
    van, shape = _van()
    sheet.paste(van, (0, 0), shape)
    return sheet


def _clouds(picture: Plane, noise: np.random.Generator) -> Plane:
    """Long streaks, lit from below."""
    streaks = np.clip((cloud(noise, STILL, 3, 14) - 0.50) * 4.2, 0, 1)[..., None]
    rows = np.linspace(0, 1, STILL[1])[:, None, None]
    low = np.clip(rows / 0.5, 0, 1)
    lit = np.array(rgb("#ffb27d")) * low + np.array(rgb("#59508f")) * (1 - low)
    band = np.clip(1 - abs(rows - 0.34) / 0.30, 0, 1)
    return picture + (lit - picture) * streaks * band * 0.62


def _laid_over(picture: Plane, colour: Plane, share: Plane) -> Plane:
    mixed: Plane = picture + (colour - picture) * share
    return mixed


def _ridge(
    picture: Plane, noise: np.random.Generator, level: float, swing: float, patches: int, colour: str, haze: float
) -> Plane:
    """A line of hills; the farther, the more of the evening's haze lies on its foot."""
    line = level - swing * (cloud(noise, (STILL[0], 1), patches, 1, 6)[0] - 0.35)
    rows = np.arange(STILL[1])[:, None]
    inside = np.clip(rows - line[None, :], 0, 1)[..., None]
    foot = np.clip((rows - line[None, :]) / 130, 0, 1)[..., None] * haze
    hill = np.array(rgb(colour)) + (np.array(rgb("#f3a67c")) - np.array(rgb(colour))) * foot
    return _laid_over(picture, hill, inside)


def _bank(picture: Plane, noise: np.random.Generator) -> Plane:
    """The near shore with its reeds."""
    line = SHORE - 36 + 10 * (cloud(noise, (STILL[0], 1), 4, 1, 3)[0] - 0.5)
    reeds = cloud(noise, (STILL[0], 1), 260, 1, 1)[0] ** 3 * 44 * (0.3 + 0.7 * np.abs(np.linspace(-1.1, 0.9, STILL[0])))
    rows = np.arange(STILL[1])[:, None]
    inside = np.clip((rows - (line - reeds)[None, :]) / 2, 0, 1)[..., None]
    return _laid_over(picture, np.array(rgb("#15182c")), inside)


def _trees(sheet: Image.Image, noise: np.random.Generator) -> None:
    """Alders at the far end of the bank: a trunk, and leaves as many small dark discs."""
    ink = ImageDraw.Draw(sheet)
    for x, height, spread in ((150, 300, 92), (262, 215, 70), (60, 225, 76)):
        foot = SHORE - 30
        fork = foot - height * 0.8
        ink.polygon([(x - 7, foot), (x + 7, foot), (x + 2, fork), (x - 2, fork)], fill=rgb("#17182d"))
        for _ in range(700):
            turn, reach = noise.uniform(0, 2 * math.pi), noise.uniform(0, 1) ** 0.5
            leaf_x = x + math.cos(turn) * reach * spread
            leaf_y = foot - height * 0.62 + math.sin(turn) * reach * height * 0.42
            r = noise.uniform(3, 9)
            ink.ellipse((leaf_x - r, leaf_y - r, leaf_x + r, leaf_y + r), fill=rgb("#1b1c33"))


VAN = (800, 560, 1110, 756)  # left, top, right, foot of the wheels


def _glow(sheet: Image.Image) -> None:
    """Warm light from the windows and the open hatch on the air around."""
    halo = Image.new("L", STILL, 0)
    ink = ImageDraw.Draw(halo)
    left, top, right, foot = VAN
    ink.ellipse((left - 90, top - 60, right + 60, foot + 70), fill=120)
    halo = halo.filter(ImageFilter.GaussianBlur(70))
    sheet.paste(Image.new("RGB", STILL, rgb("#ffb45e")), (0, 0), halo)


def _van() -> tuple[Image.Image, Image.Image]:
    """A rounded delivery van of no make, and its shape."""
    size = STILL[0] * SCALE, STILL[1] * SCALE
    _, top, _, foot = VAN
    paint = [(0, "#3f7f7a"), (top / STILL[1], "#3f7f7a"), (foot / STILL[1], "#14343f"), (1, "#14343f")]
    sheet, shape = gradient(size, paint), Image.new("L", size, 0)
    for ink, whole in ((ImageDraw.Draw(sheet), False), (ImageDraw.Draw(shape), True)):
        _body(ink, whole)
    return shrunk(sheet, SCALE), shrunk(shape, SCALE)


def _box(*values: float) -> list[float]:
    return [v * SCALE for v in values]


def _body(ink: ImageDraw.ImageDraw, whole: bool) -> None:
    """Draws the outline into the mask where `whole`, else what is on it: the paint is there already."""
    left, top, right, foot = VAN
    wheels = [(x - 30, foot - 54, x + 30, foot + 6) for x in (left + 64, right - 58)]
    if whole:
        ink.rounded_rectangle(_box(left, top, right - 62, foot - 22), 22 * SCALE, fill=255)
        nose = [(100, -182), (58, -176), (20, -104), (2, -92), (0, -24), (100, -24)]
        ink.polygon([((right - x) * SCALE, (foot + y) * SCALE) for x, y in nose], fill=255)
    for wheel in wheels:
        ink.ellipse(_box(*wheel), fill=255 if whole else rgb("#0d0f1c"))
    if not whole:
        _trim(ink)
        for x0, y0, x1, y1 in wheels:
            ink.ellipse(_box(x0 + 17, y0 + 17, x1 - 17, y1 - 17), fill=rgb("#7a7f93"))


def _trim(ink: ImageDraw.ImageDraw) -> None:
    left, top, right, foot = VAN
    ink.rectangle(_box(left, top, right - 66, top + 7), fill=rgb("#e9c79a"))
    ink.rectangle(_box(left, foot - 62, right, foot - 55), fill=rgb("#e6b36a"))
    ink.rounded_rectangle(_box(left + 20, top + 28, left + 182, top + 92), 9 * SCALE, fill=rgb("#ffdf94"))
    _shelf(ink, left + 20, top + 28)
    pane = ((84, 32), (62, 32), (34, 90), (84, 90))
    ink.polygon([((right - x) * SCALE, (top + y) * SCALE) for x, y in pane], fill=rgb("#f6b87c"))
    ink.ellipse(_box(right - 17, foot - 84, right + 1, foot - 64), fill=rgb("#fff2c4"))
    lettering(ink, ((left + 104) * SCALE, (top + 114) * SCALE), "FERN HOLLOW", 19 * SCALE, rgb("#fbe8bd"), 2 * SCALE)


def _shelf(ink: ImageDraw.ImageDraw, x: float, y: float) -> None:
    """Books in the lit window."""
    spines = "#8c4a34 #3f6f66 #b5713a #6d4560 #a8533c #4f6a4a #c98f4a #5b5a80".split()
    for number in range(19):
        high = 19 + 7 * math.sin(number * 2.3)
        left = x + 6 + number * 8
        for foot in (y + 31, y + 62):
            top = foot - high * (1 if foot == y + 31 else 0.86)
            ink.rectangle(_box(left, top, left + 6.4, foot), fill=rgb(spines[(number * 5 + int(foot)) % 8]))
    ink.rectangle(_box(x, y + 31, x + 162, y + 34), fill=rgb("#7a4a2c"))
    ink.rectangle(_box(x + 79, y, x + 83, y + 64), fill=rgb("#24545a"))


def _mirrored(upside: Plane, noise: np.random.Generator) -> Plane:
    """The lake: the land upside down, shaken sideways by ripples that grow towards the eye, and a little darker."""
    height = upside.shape[0]
    ripple = cloud(noise, (STILL[0], height), 4, 40, 2) - 0.5
    reach = np.linspace(3, 46, height)[:, None]
    columns = np.clip(np.arange(STILL[0])[None, :] + ripple * reach, 0, STILL[0] - 1).astype(int)
    rows = np.clip(np.arange(height)[:, None] + ripple * reach * 0.5, 0, height - 1).astype(int)
    water = upside[rows, columns]
    depth = np.linspace(0.82, 0.50, height)[:, None, None]
    water = water * depth + np.array(rgb("#1b2450")) * (0.88 - depth)
    softened = as_picture(water).filter(ImageFilter.GaussianBlur(2.2))
    return np.asarray(softened, dtype=float)


def _vignette(picture: Plane) -> Plane:
    y, x = np.mgrid[-1 : 1 : STILL[1] * 1j, -1 : 1 : STILL[0] * 1j]
    darker = 0.30 * np.clip(np.hypot(x * 0.9, y) - 0.45, 0, 1)
    return _laid_over(picture, np.zeros(3), darker[..., None])


def _grain(picture: Plane, noise: np.random.Generator) -> Plane:
    """As much as a good camera shows at dusk."""
    return picture + noise.normal(0, 0.4, picture.shape[:2])[..., None]
