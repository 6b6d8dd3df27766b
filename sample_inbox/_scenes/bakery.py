"""bakery-steam: a GIF of steam over a loaf in the bakery's window; it ends as it began."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from _scenes.art import Colour, as_picture, gradient, lettering, mix, rgb, shared_palette, shrunk, smooth

SIZE = (800, 480)
FRAMES = 30
FRAME_MS = 80
COLOURS = 64
SCALE = 3

CRUST, CRUST_DARK, CRUST_LIGHT, CRUMB = rgb("#c8823c"), rgb("#94552a"), rgb("#e2a655"), rgb("#f4d69a")
LINEN = np.array([255.0, 240.0, 214.0])

# One wisp: x where it rises, how far it swings, how high it goes, when it starts (share of the film)
WISPS = ((-82, 15, 150, 0.12), (-6, 19, 190, 0.0), (76, 15, 160, 0.2))
LOAF = (400, 318)


def draw(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    still = shrunk(window(), SCALE)
    frames = [frame(still, number / (FRAMES - 1)) for number in range(FRAMES)]
    palette = shared_palette(frames[::5], COLOURS)
    flat = [picture.quantize(palette=palette, dither=Image.Dither.NONE) for picture in frames]
    flat[0].save(
        folder / "steam.gif",
        save_all=True,
        append_images=flat[1:],
        duration=FRAME_MS,
        loop=0,
        disposal=1,
        optimize=False,
    )
    flat[0].save(folder / "logo.png", optimize=True)


def frame(still: Image.Image, t: float) -> Image.Image:
    """Steam in a few flat veils: more would cost bytes, and paper cut-outs have no more."""
    veil = sum((wisp(t, *each) for each in WISPS), np.zeros(SIZE[::-1]))
    veil = np.minimum(veil, 1.0)
    stepped = np.round(veil * 7) / 7
    shown = np.asarray(still, dtype=float)
    return as_picture(shown + (LINEN - shown) * (stepped * 0.55)[..., None])


def wisp(t: float, x: float, swing: float, height: float, start: float) -> NDArray[np.float64]:
    """Density, 0 to 1, of one ribbon that rises from the loaf, sways and thins out; none at both ends of the film."""
    life = (t - start) / (1 - 0.2)
    rise, fade = smooth(life / 0.55), 1 - smooth((life - 0.55) / 0.42)
    if rise <= 0 or fade <= 0:
        return np.zeros(SIZE[::-1])
    rows, columns = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    up = (LOAF[1] - 62 - rows) / height  # 0 at the crust, 1 at the top
    sway = swing * np.sin(up * 5.2 - life * 4.5 + x) * (0.35 + up)
    width = 7 + 17 * np.clip(up, 0, 1.2)
    across = np.exp(-(((columns - LOAF[0] - x - sway) / width) ** 2))
    along = np.clip(up / 0.16, 0, 1) * np.clip((rise * 1.05 - up) / 0.35, 0, 1)
    density: NDArray[np.float64] = across * along * fade
    return density


def window() -> Image.Image:
    size = SIZE[0] * SCALE, SIZE[1] * SCALE
    sheet = gradient(size, [(0, "#3a2130"), (0.5, "#6b3436"), (0.74, "#9a4d3a"), (1, "#9a4d3a")])
    sheet = sheet.quantize(14, Image.Quantize.MEDIANCUT).convert("RGB")
    ink = ImageDraw.Draw(sheet)
    _glow(ink)
    _counter(ink)
    _loaf(ink)
    _wheat(ink)
    _awning(ink)
    lettering(ink, (400 * SCALE, 424 * SCALE), "ALDER LANE BAKERY", 36 * SCALE, rgb("#ffe9c2"), 6 * SCALE)
    return sheet


def _disc(ink: ImageDraw.ImageDraw, x: float, y: float, rx: float, ry: float, colour: Colour) -> None:
    ink.ellipse([v * SCALE for v in (x - rx, y - ry, x + rx, y + ry)], fill=colour)


def _glow(ink: ImageDraw.ImageDraw) -> None:
    for step in range(6):
        reach = 1 - step * 0.14
        _disc(ink, 400, 300, 330 * reach, 215 * reach, mix(rgb("#6b3436"), rgb("#d98a4b"), 0.15 + step * 0.12))


def _counter(ink: ImageDraw.ImageDraw) -> None:
    ink.rectangle((0, 372 * SCALE, SIZE[0] * SCALE, SIZE[1] * SCALE), fill=rgb("#4a2a26"))
    ink.rectangle((0, 364 * SCALE, SIZE[0] * SCALE, 378 * SCALE), fill=rgb("#c07a45"))
    ink.rectangle((0, 378 * SCALE, SIZE[0] * SCALE, 382 * SCALE), fill=rgb("#7a4630"))
    _disc(ink, 400, 366, 228, 10, rgb("#5f3526"))
    ink.rounded_rectangle([v * SCALE for v in (192, 348, 608, 366)], 9 * SCALE, fill=rgb("#a76a3c"))
    ink.rounded_rectangle([v * SCALE for v in (192, 348, 608, 354)], 3 * SCALE, fill=rgb("#c98a50"))


def _dome(scale: float, lift: float, low: float) -> list[tuple[float, float]]:
    """The loaf's outline: a broad superellipse with a flat foot."""
    points = []
    for a in np.linspace(0, 2 * math.pi, 120, endpoint=False):
        c, s = math.cos(a), math.sin(a)
        x = 172 * scale * math.copysign(abs(c) ** 0.8, c)
        y = (78 if s < 0 else low) * scale * math.copysign(abs(s) ** 0.85, s)
        points.append(((LOAF[0] + x) * SCALE, (LOAF[1] - lift + y) * SCALE))
    return points


def _loaf(ink: ImageDraw.ImageDraw) -> None:
    ink.polygon(_dome(1.0, 0, 34), fill=CRUST_DARK)
    ink.polygon(_dome(0.965, 3, 26), fill=CRUST)
    ink.polygon(_dome(0.80, 14, 10), fill=mix(CRUST, CRUST_LIGHT, 0.55))
    for number in range(4):  # the baker's cuts
        x = LOAF[0] - 108 + number * 66
        y = LOAF[1] - (44 if number in (1, 2) else 33)
        for grow, colour in ((1.0, CRUST_DARK), (0.78, CRUMB)):
            cut = [
                ((x + grow * (u * 30 + v * 9)) * SCALE, (y + grow * (u * 34 - v * 9) * (0.9)) * SCALE)
                for u, v in ((-1, -0.3), (-0.4, 0.75), (0.35, 0.9), (1, 0.3), (0.4, -0.7), (-0.35, -0.9))
            ]
            ink.polygon(cut, fill=colour)


def _wheat(ink: ImageDraw.ImageDraw) -> None:
    """An ear of wheat leans in on either side."""
    for side in (-1, 1):
        for number in range(7):
            x, y = 400 + side * (226 + number * 13), 336 - number * 19
            for turn in (-0.9, 0.35):
                angle = -math.pi / 2 + side * (0.6 + turn)
                cx, cy = x + math.cos(angle) * 11, y + math.sin(angle) * 11
                points = [
                    (
                        (cx + math.cos(angle) * 13 * math.cos(a) - math.sin(angle) * 5 * math.sin(a)) * SCALE,
                        (cy + math.sin(angle) * 13 * math.cos(a) + math.cos(angle) * 5 * math.sin(a)) * SCALE,
                    )
                    for a in np.linspace(0, 2 * math.pi, 20)
                ]
                ink.polygon(points, fill=rgb("#e8b65c") if turn < 0 else rgb("#f2cf86"))
        stalk = [((400 + side * x) * SCALE, y * SCALE) for x, y in ((214, 362), (226, 336), (304, 222))]
        ink.line(stalk, fill=rgb("#b9803c"), width=4 * SCALE, joint="curve")


def _awning(ink: ImageDraw.ImageDraw) -> None:
    stripe = SIZE[0] / 10
    for number in range(10):
        left, right = number * stripe * SCALE, (number + 1) * stripe * SCALE
        colour = rgb("#f3e3c3") if number % 2 else rgb("#3f7f78")
        ink.rectangle((left, 0, right, 42 * SCALE), fill=colour)
        ink.pieslice((left, 20 * SCALE, right, 62 * SCALE), 0, 180, fill=colour)
    ink.rectangle((0, 0, SIZE[0] * SCALE, 9 * SCALE), fill=rgb("#2c5a58"))
