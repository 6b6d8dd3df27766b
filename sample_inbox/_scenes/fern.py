"""fern-unfurls: fronds that breathe in a green dawn, for ever; the last frame leads into the first."""

from __future__ import annotations

import math
from pathlib import Path

from PIL import Image, ImageDraw

from _scenes.art import Colour, frond, gradient, lettering, mix, rgb, save_flat, shared_palette, shrunk

SIZE = (1280, 720)
FRAMES = 24
COLOURS = 28
SCALE = 2

MIST, DEEP = rgb("#a9cdb0"), rgb("#123a33")

# One frond: x, y of its foot, heading in degrees (0 right, -90 up), length, bend, curl, how far it sways,
# its place in the breeze
FRONDS = (
    (865, 742, -116, 540, -0.80, -0.5, 0.055, 0.00),
    (890, 746, -64, 520, 0.80, 0.5, 0.050, 0.45),
    (878, 744, -91, 640, 0.32, 0.7, 0.045, 0.25),
    (866, 744, -104, 490, -0.10, -6.4, 0.075, 1.70),
    (892, 744, -73, 420, 0.15, 6.6, 0.080, 2.20),
)


def draw(folder: Path) -> None:
    still = backdrop()
    frames = [frame(still, 2 * math.pi * number / FRAMES) for number in range(FRAMES)]
    palette = shared_palette(frames[::6], COLOURS)
    for number, picture in enumerate(frames, 1):
        save_flat(picture, folder / "sway" / f"{number:03d}.png", palette)


def frame(still: Image.Image, phase: float) -> Image.Image:
    sheet = still.copy()
    ink = ImageDraw.Draw(sheet)
    for number, (x, y, degrees, length, bend, curl, sway, place) in enumerate(FRONDS):
        breeze = math.sin(phase - place) + 0.35 * math.sin(2 * phase - place * 1.7)
        depth = number / (len(FRONDS) - 1)
        frond(
            ink,
            (x * SCALE, y * SCALE),
            math.radians(degrees) + breeze * sway * 0.4,
            length * SCALE,
            _leaf(depth),
            bend=bend + breeze * sway * 2.2,
            curl=curl * (1 - 0.10 * breeze * (abs(curl) > 2)),
            pairs=18,
            fullness=0.24 if abs(curl) < 2 else 0.13,
            slim=0.19 if abs(curl) < 2 else 0.26,
        )
    return shrunk(sheet, SCALE)


def _leaf(depth: float) -> tuple[Colour, Colour]:
    """The nearer, the warmer and lighter."""
    return mix(rgb("#1f5a45"), rgb("#3f8c4c"), depth), mix(rgb("#2f7a55"), rgb("#8fc65a"), depth)


def backdrop() -> Image.Image:
    sheet = (
        gradient(
            (SIZE[0] * SCALE, SIZE[1] * SCALE),
            [(0, "#1f6a63"), (0.35, "#69ab8f"), (0.62, "#d6e2ac"), (0.74, "#fbe9b4"), (1, "#fbe9b4")],
        )
        .quantize(22, Image.Quantize.MEDIANCUT)
        .convert("RGB")
    )  # the sky in broad washes, as with a brush
    ink = ImageDraw.Draw(sheet)
    _sun(ink)
    _hills(ink)
    _undergrowth(ink)
    lettering(ink, (372 * SCALE, 190 * SCALE), "MOSS & MINT", 72 * SCALE, rgb("#fffbe6"), 8 * SCALE)
    lettering(ink, (372 * SCALE, 258 * SCALE), "garden nursery", 33 * SCALE, rgb("#17483f"), 4 * SCALE)
    return sheet


def _sun(ink: ImageDraw.ImageDraw) -> None:
    x, y = 372 * SCALE, 480 * SCALE
    for radius, colour in ((160, "#dfe7b2"), (118, "#ebecb6"), (80, "#fff4c4")):
        r = radius * SCALE
        ink.ellipse((x - r, y - r, x + r, y + r), fill=rgb(colour))


def _hills(ink: ImageDraw.ImageDraw) -> None:
    for level, swing, length, share in ((500, 34, 260, 0.15), (552, 26, 190, 0.42), (606, 22, 150, 0.68)):
        colour = mix(MIST, DEEP, share)
        ridge = [
            (
                x * SCALE,
                (level + swing * math.sin(x / length + level) + swing * 0.4 * math.sin(x / length * 2.7)) * SCALE,
            )
            for x in range(-8, SIZE[0] + 9, 8)
        ]
        ink.polygon([*ridge, (SIZE[0] * SCALE + 20, SIZE[1] * SCALE), (-20, SIZE[1] * SCALE)], fill=colour)


def _undergrowth(ink: ImageDraw.ImageDraw) -> None:
    """A few dark fronds in the corner answer the bright ones."""
    for x, degrees, length, bend in ((60, -104, 210, -0.5), (96, -72, 180, 0.6), (1216, -76, 190, 0.5)):
        shade = mix(DEEP, rgb("#1c5142"), 0.5)
        foot = x * SCALE, (SIZE[1] + 16) * SCALE
        frond(ink, foot, math.radians(degrees), length * SCALE, (shade, shade), bend=bend, pairs=10, slim=0.24)
