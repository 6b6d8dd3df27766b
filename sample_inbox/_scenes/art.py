"""What the scenes share: colours, easing, gradients, fern fronds, lettering and saving small files."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Colour = tuple[int, int, int]
Point = tuple[float, float]


def rgb(text: str) -> Colour:
    red, green, blue = bytes.fromhex(text.removeprefix("#"))
    return red, green, blue


def mix(a: Colour, b: Colour, share: float) -> Colour:
    """`a` at share 0, `b` at share 1."""
    red, green, blue = (round(x + (y - x) * share) for x, y in zip(a, b, strict=True))
    return red, green, blue


def smooth(t: float) -> float:
    """0 below 0, 1 above 1, and without a corner between (the cubic smoothstep)."""
    t = min(1.0, max(0.0, t))
    return t * t * (3 - 2 * t)


def gradient(size: tuple[int, int], stops: Sequence[tuple[float, str]]) -> Image.Image:
    """Top to bottom; `stops` are (share of the height, colour)."""
    at = [share for share, _ in stops]
    rows = np.linspace(0, 1, size[1])
    channels = [np.interp(rows, at, [rgb(colour)[c] for _, colour in stops]) for c in range(3)]
    column = np.stack(channels, axis=1)[:, None, :]
    return Image.fromarray(np.rint(np.repeat(column, size[0], axis=1)).astype(np.uint8), "RGB")


def shrunk(picture: Image.Image, scale: int) -> Image.Image:
    """Drawn large, shown small: the edges come out smooth. A box filter adds no fringes, so flat art stays small."""
    return picture.reduce(scale)


def stem(base: Point, heading: float, length: float, bend: float, curl: float, steps: int = 64) -> list[Point]:
    """A line that leaves `base` at `heading` (radians, y down), bends evenly and curls up at its tip.

    `bend` and `curl` are radians turned over the whole length; the curl grows with the fourth power.
    """
    x, y = base
    points = [base]
    for step in range(steps):
        share = (step + 0.5) / steps
        angle = heading + bend * share + curl * share**4
        x += math.cos(angle) * length / steps
        y += math.sin(angle) * length / steps
        points.append((x, y))
    return points


def leaflet(base: Point, angle: float, length: float, width: float) -> list[Point]:
    """A pointed leaf as a polygon, fullest at two fifths of its length."""
    shares = np.linspace(0, 1, 9)
    half = width / 2 * np.sin(np.pi * shares**0.75)
    along, across = (math.cos(angle), math.sin(angle)), (-math.sin(angle), math.cos(angle))
    upper = [(s * length, h) for s, h in zip(shares, half, strict=True)]
    outline = upper + [(a, -h) for a, h in reversed(upper)]
    return [(base[0] + a * along[0] + h * across[0], base[1] + a * along[1] + h * across[1]) for a, h in outline]


def frond(
    draw: ImageDraw.ImageDraw,
    base: Point,
    heading: float,
    length: float,
    colours: tuple[Colour | int, Colour | int],
    *,
    bend: float = 0.0,
    curl: float = 0.0,
    pairs: int = 16,
    fullness: float = 0.30,
    slim: float = 0.30,
) -> None:
    """A fern frond with `pairs` of leaflets; `colours` are those of its shaded and its sunny side
    (grey levels in a mask).

    `fullness` is the longest leaflet's share of the frond's length, `slim` a leaflet's width by its length.
    """
    points = stem(base, heading, length, bend, curl)
    thick = max(2, round(length / 90))
    draw.line(points, fill=colours[0], width=thick, joint="curve")
    for pair in range(pairs):
        share = 0.12 + 0.86 * pair / (pairs - 1)
        at = min(len(points) - 2, int(share * (len(points) - 1)))
        (x, y), (ahead_x, ahead_y) = points[at], points[at + 1]
        angle = math.atan2(ahead_y - y, ahead_x - x)
        size = length * fullness * _taper(share)
        for side, colour in zip((-1, 1), colours, strict=True):
            draw.polygon(leaflet((x, y), angle + side * (1.15 - 0.45 * share), size, size * slim), fill=colour)


def _taper(share: float) -> float:
    """Leaflets are longest at a third of the frond and small at its tip."""
    return math.sin(math.pi * min(1.0, 0.16 + share * 0.84) ** 0.62) * 0.95 + 0.05


def lettering(
    draw: ImageDraw.ImageDraw, centre: Point, text: str, size: float, colour: Colour, tracking: float = 0.0
) -> None:
    """One line of Pillow's own typeface, centred; `tracking` is extra space between letters in px."""
    font = ImageFont.load_default(size)
    widths = [font.getlength(letter) for letter in text]
    x = centre[0] - (sum(widths) + tracking * (len(text) - 1)) / 2
    for letter, width in zip(text, widths, strict=True):
        draw.text((x, centre[1]), letter, font=font, fill=colour, anchor="lm")
        x += width + tracking


def as_picture(values: NDArray[np.float64]) -> Image.Image:
    """RGB from floats of 0 to 255."""
    return Image.fromarray(np.clip(np.rint(values), 0, 255).astype(np.uint8), "RGB")


def shared_palette(pictures: Sequence[Image.Image], colours: int = 256) -> Image.Image:
    """One palette for a whole film, so that what stands still does not flicker.

    A colour's weight is the area it has in `pictures`; a detail that matters is given once more, alone.
    """
    width, height = max(p.width for p in pictures), sum(p.height for p in pictures)
    wall = Image.new("RGB", (width, height), pictures[0].getpixel((0, 0)))
    top = 0
    for picture in pictures:
        wall.paste(picture, (0, top))
        top += picture.height
    return wall.quantize(colours, Image.Quantize.MEDIANCUT, kmeans=2)


def save_flat(picture: Image.Image, path: Path, palette: Image.Image) -> None:
    """A palette PNG without dither: flat art stays flat and small."""
    path.parent.mkdir(parents=True, exist_ok=True)
    picture.quantize(palette=palette, dither=Image.Dither.NONE).save(path, optimize=True)
