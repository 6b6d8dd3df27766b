"""Draw what the starter drops show: a fern that opens and closes, hills by day and night, a leaf, a lantern's glow."""

from __future__ import annotations

import math

from PIL import Image, ImageDraw, ImageFilter

Size = tuple[int, int]

_GROUND = "#10241c"
_DAY = ("#9fc3b4", "#6f9f8b", "#4a7d68", "#2f5c4a", "#1d3f32")
_NIGHT = ("#16303a", "#12282f", "#0f2127", "#0c1a1f", "#091318")
"""The colours of the sky and of the ridges, from the farthest to the nearest."""

_DRAWN = 2
"""Pictures are drawn this many times larger and reduced, so that edges are smooth."""


def fern(size: Size, share: float) -> Image.Image:
    """Return a fern: closed at share 0 and 1, open between them."""
    width, height = size
    picture = Image.new("RGB", (width * _DRAWN, height * _DRAWN), _GROUND)
    draw = ImageDraw.Draw(picture)
    opened = math.sin(math.pi * share) ** 2
    unit = min(width, height) * _DRAWN
    x, y = width, height + unit * 0.28
    draw.line([(x, y), (x, y - unit * 0.56)], fill="#4f8a5b", width=unit // 80)
    for step in range(7):
        reach = unit * 0.22 * (1 - step / 8) * (0.25 + 0.75 * opened)
        at = y - unit * 0.08 * (step + 1)
        for side in (-1, 1):
            tip = (x + side * reach, at - reach * 0.55)
            draw.line([(x, at), tip], fill="#7fc48b", width=unit // 60)
            draw.circle(tip, unit // 70, fill="#c8e6a0")
    return _few_colours(picture.resize(size, Image.Resampling.LANCZOS))


def hills(size: Size, *, night: bool = False) -> Image.Image:
    """Return ridges with a house between them, and the sun; at night the moon and a lit window."""
    width, height = size[0] * _DRAWN, size[1] * _DRAWN
    sky, *ridges = _NIGHT if night else _DAY
    picture = Image.new("RGB", (width, height), sky)
    draw = ImageDraw.Draw(picture)
    unit = min(width, height)
    draw.circle((width * 0.2, height * 0.2), unit * 0.07, fill="#c9d3c8" if night else "#f4e3b0")
    for row, colour in enumerate(ridges):
        if row == 2:
            _house(draw, (width * 0.64, height * 0.72), unit * 0.11, night=night)
        level = height * (0.5 + 0.13 * row)
        line = [(x, level + _ridge(x / width, row) * height * 0.07) for x in range(0, width + 8, 8)]
        draw.polygon([*line, (width, height), (0, height)], fill=colour)
    return _few_colours(picture.reduce(_DRAWN))


def _house(draw: ImageDraw.ImageDraw, foot: tuple[float, float], side: float, *, night: bool) -> None:
    walls, roof, window = ("#1a2b33", "#241f26", "#ffd98a") if night else ("#e8dcc0", "#a8553c", "#6d7f7a")
    x, y = foot
    draw.rectangle([x - side, y - side, x + side, y + side], fill=walls)
    draw.polygon([(x - side * 1.2, y - side), (x + side * 1.2, y - side), (x, y - side * 1.9)], fill=roof)
    draw.rectangle([x - side * 0.3, y - side * 0.7, x + side * 0.3, y - side * 0.15], fill=window)


def _ridge(share: float, row: int) -> float:
    return math.sin(share * (5 + 2 * row) + row * 1.7) + 0.4 * math.sin(share * (13 + 3 * row) + row)


def leaf(side: int) -> Image.Image:
    """Return a leaf on a transparent ground, a square of `side` px."""
    large = side * _DRAWN
    picture = Image.new("RGBA", (large, large), (224, 150, 60, 0))
    draw = ImageDraw.Draw(picture)
    blade = [_on_blade(step / 40, large, edge) for edge in (-1, 1) for step in range(41)[::edge]]
    draw.polygon(blade, fill="#e0963c")
    draw.line([_on_blade(0, large, 0), _on_blade(1, large, 0)], fill="#8a4f22", width=max(1, large // 50))
    return picture.convert("RGBa").reduce(_DRAWN).convert("RGBA")


def _on_blade(share: float, side: int, edge: int) -> tuple[float, float]:
    return side * (0.08 + 0.84 * share), side * (0.5 + 0.2 * edge * math.sin(math.pi * share) * (1.2 - 0.5 * share))


def glow(size: Size, share: float) -> Image.Image:
    """Return a lantern on its post on a transparent ground: dark at share 0, full light at 1."""
    width, height = size
    unit = min(size)
    x, y = width * 0.5, height * 0.55
    halo = Image.new("L", size)
    reach = unit * (0.12 + 0.1 * share)
    ImageDraw.Draw(halo).circle((x, y), reach, fill=round(150 * share))
    made = Image.new("RGBA", size, (255, 214, 140, 0))
    made.putalpha(halo.filter(ImageFilter.GaussianBlur(unit * 0.04)))
    draw = ImageDraw.Draw(made)
    draw.rectangle([x - unit * 0.008, y, x + unit * 0.008, height], fill="#1b2a24")
    lit = tuple(
        round(dark + (bright - dark) * share) for dark, bright in zip((60, 62, 50), (255, 232, 170), strict=True)
    )
    draw.rounded_rectangle(
        [x - unit * 0.04, y - unit * 0.05, x + unit * 0.04, y + unit * 0.05], unit * 0.02, (*lit, 255)
    )
    return made


def _few_colours(picture: Image.Image) -> Image.Image:
    """Return the picture in 48 colours, so that its file is small."""
    return picture.quantize(48).convert("RGB")
