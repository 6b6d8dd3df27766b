"""garden-gate: a gate that opens on a garden, saved as untidily as pictures arrive in real life."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageDraw

from _scenes import oddpng
from _scenes.art import Colour, frond, gradient, lettering, mix, rgb, shared_palette, smooth

SHEET = (720, 480)  # what the scene is drawn in
SCALE = 3  # and how much larger, for smooth edges
SIZE = (600, 400)  # what the artist exports
BACKGROUND = rgb("#dfeed9")  # as in job.toml
NUMBERS = (1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 13)  # the artist threw 8 away

HEDGE, HEDGE_LIGHT = rgb("#2f6b45"), rgb("#4c8f55")
WHITE, SHADE = rgb("#fff8e8"), rgb("#d9cdb2")

COLOURS = 56


def draw(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    pictures = [picture(smooth(step / (len(NUMBERS) - 1))) for step in range(len(NUMBERS))]
    palette = shared_palette([_laid_on(pictures[n]) for n in (0, 5, 11)], COLOURS)
    for number, large in zip(NUMBERS, pictures, strict=True):
        save, suffix = SAVED_AS.get(number, (_plain, "png"))
        save(large, palette, folder / f"gate {number}.{suffix}")
    _litter(folder)


# -- ways of saving ---------------------------------------------------------------------------------

Save = Callable[[Image.Image, Image.Image, Path], None]
"""Large picture, palette, where to."""


def _exported(picture: Image.Image) -> Image.Image:
    return picture.resize(SIZE, Image.Resampling.LANCZOS)


def _laid_on(picture: Image.Image) -> Image.Image:
    """RGB of the usual size, on the job's background."""
    small = _exported(picture)
    return Image.alpha_composite(Image.new("RGBA", SIZE, BACKGROUND), small).convert("RGB")


def _flat(picture: Image.Image, palette: Image.Image) -> Image.Image:
    """RGBA in few colours and few strengths, so that the file is small."""
    solid = Image.new("RGBA", picture.size, HEDGE)
    colour = Image.alpha_composite(solid, picture).convert("RGB").quantize(palette=palette, dither=Image.Dither.NONE)
    alpha = picture.getchannel("A").point([round(v / 51) * 51 for v in range(256)])
    flat = colour.convert("RGB")
    flat.paste(HEDGE, (0, 0), alpha.point([255 if v == 0 else 0 for v in range(256)]))
    flat.putalpha(alpha)
    return flat


def _plain(large: Image.Image, palette: Image.Image, path: Path) -> None:
    oddpng.write(path, np.asarray(_flat(_exported(large), palette)))  # unfiltered lines suit flat art best


def _interlaced(large: Image.Image, palette: Image.Image, path: Path) -> None:
    oddpng.write(path, np.asarray(_flat(_exported(large), palette)), interlaced=True)


def _turned(large: Image.Image, palette: Image.Image, path: Path) -> None:
    """As a camera held upright saves it: lying on its side, with a note to turn it (EXIF orientation 6)."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.ImageDescription] = "The gate, by Ines"
    _laid_on(large).transpose(Image.Transpose.ROTATE_90).save(path, quality=85, optimize=True, exif=exif)


def _sixteen_bits(large: Image.Image, palette: Image.Image, path: Path) -> None:
    oddpng.write(path, np.asarray(_flat(_exported(large), palette)).astype(np.uint16) * 257)


def _see_through_palette(large: Image.Image, palette: Image.Image, path: Path) -> None:
    """One entry of the palette is the transparent one, as in a GIF."""
    small = _exported(large)
    indexed = _laid_on(large).quantize(palette=palette, dither=Image.Dither.NONE)
    outside = small.getchannel("A").point([255 if v < 128 else 0 for v in range(256)])
    indexed.putpalette([*(palette.getpalette() or [])[: COLOURS * 3], *HEDGE])
    indexed.paste(COLOURS, (0, 0), outside)
    indexed.save(path, optimize=True, transparency=COLOURS)


def _cmyk(large: Image.Image, palette: Image.Image, path: Path) -> None:
    _laid_on(large).convert("CMYK").save(path, quality=75, optimize=True)


def _twice_as_big(large: Image.Image, palette: Image.Image, path: Path) -> None:
    big = large.resize((SIZE[0] * 2, SIZE[1] * 2), Image.Resampling.LANCZOS)
    oddpng.write(path, np.asarray(_flat(big, palette)))


SAVED_AS: dict[int, tuple[Save, str]] = {
    2: (_interlaced, "png"),
    4: (_turned, "jpg"),
    5: (_sixteen_bits, "png"),
    6: (_see_through_palette, "png"),
    9: (_cmyk, "jpg"),
    10: (_twice_as_big, "png"),
}


def _litter(folder: Path) -> None:
    """What desktop systems leave beside pictures: the first bytes are true, the rest is empty."""
    (folder / "Thumbs.db").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504))
    (folder / ".DS_Store").write_bytes(b"\0\0\0\x01Bud1" + bytes(504))
    (folder / "._gate 1.png").write_bytes(b"\0\x05\x16\x07\0\x02\0\0" + bytes(504))


# -- the picture ------------------------------------------------------------------------------------

MIDDLE, FOOT = 360, 424
OPENING = 122  # half the width of the arch


def picture(opened: float) -> Image.Image:
    """RGBA at SCALE times SHEET; `opened` runs from 0, shut, to 1. Outside the hedge it is transparent."""
    size = SHEET[0] * SCALE, SHEET[1] * SCALE
    sheet = Image.new("RGBA", size, (0, 0, 0, 0))
    ink = ImageDraw.Draw(sheet)
    _hedge(ink)
    _arch(ink, 12, SHADE)
    _arch(ink, 9, WHITE)
    opening = Image.new("L", size, 0)
    _arch(ImageDraw.Draw(opening), 0, 255)
    sheet.paste(_garden(size), (0, 0), opening)
    for side in (-1, 1):
        _leaf(ink, side, opened)
        _pot(ink, side)
    _name(ink)
    return sheet


def _scaled(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(x * SCALE, y * SCALE) for x, y in points]


def _disc(ink: ImageDraw.ImageDraw, x: float, y: float, r: float, colour: Colour) -> None:
    ink.ellipse([v * SCALE for v in (x - r, y - r, x + r, y + r)], fill=colour)


def _hedge(ink: ImageDraw.ImageDraw) -> None:
    """A clipped yew arch: a wall of round tufts, lit from the upper left."""
    tufts = random.Random(3)
    for layer, colour in ((0, mix(HEDGE, rgb("#173f2e"), 0.5)), (1, HEDGE), (2, HEDGE_LIGHT)):
        for number in range(46):
            turn = math.pi * (1 + number / 45)
            reach_x, reach_y = 236 - layer * 14, 226 - layer * 12
            x = MIDDLE + math.cos(turn) * reach_x + tufts.uniform(-6, 6)
            y = 262 + math.sin(turn) * reach_y + tufts.uniform(-6, 6)
            _disc(ink, x, y, 34 - layer * 9, colour)
        if layer == 0:
            ink.rounded_rectangle([v * SCALE for v in (98, 230, 622, FOOT)], 30 * SCALE, fill=HEDGE)
            ink.ellipse([v * SCALE for v in (118, 30, 602, 500)], fill=HEDGE)
    for _ in range(70):
        x, y = tufts.uniform(118, 602), tufts.uniform(110, 400)
        if abs(x - MIDDLE) > OPENING + 28 or y < 96:
            _disc(ink, x, y, tufts.uniform(4, 9), mix(HEDGE, HEDGE_LIGHT, tufts.uniform(0.25, 0.7)))
    ink.rectangle([v * SCALE for v in (0, FOOT, *SHEET)], fill=(0, 0, 0, 0))
    ink.rounded_rectangle([v * SCALE for v in (70, FOOT - 8, 650, FOOT + 26)], 17 * SCALE, fill=rgb("#9fc58a"))


def _arch(ink: ImageDraw.ImageDraw, grow: float, colour: Colour | int) -> None:
    """The opening, `grow` px larger all round: a half circle on a box."""
    left, top, right = MIDDLE - OPENING - grow, 132 - grow, MIDDLE + OPENING + grow
    ink.ellipse([v * SCALE for v in (left, top, right, top + right - left)], fill=colour)
    ink.rectangle([v * SCALE for v in (left, top + (right - left) / 2, right, FOOT)], fill=colour)


def _garden(size: tuple[int, int]) -> Image.Image:
    """The morning behind the gate."""
    sky = gradient(size, [(0.2, "#8fd0d8"), (0.45, "#cfeadb"), (0.62, "#fdf0b8"), (1, "#fdf0b8")])
    sheet = sky.quantize(16, Image.Quantize.MEDIANCUT).convert("RGB")
    ink = ImageDraw.Draw(sheet)
    _disc(ink, MIDDLE + 34, 236, 46, rgb("#fff6cf"))
    _disc(ink, MIDDLE + 34, 236, 32, rgb("#fffdf0"))
    for level, swing, colour in ((286, 14, "#a5cf9b"), (312, 9, "#7fb97c"), (336, 6, "#5fa267")):
        hill = [(x, level + swing * math.sin(x / 48 + level)) for x in range(220, 501, 5)]
        ink.polygon(_scaled([*hill, (500, FOOT), (220, FOOT)]), fill=rgb(colour))
    path = [(-74, FOOT), (74, FOOT), (30, 372), (42, 340), (30, 339), (4, 372)]
    ink.polygon(_scaled([(MIDDLE + x, y) for x, y in path]), fill=rgb("#f3dfb0"))
    beds = random.Random(9)
    for _ in range(90):
        y = beds.uniform(346, 420)
        x = MIDDLE + beds.choice((-1, 1)) * beds.uniform(0.75, 1.5) * (30 + (y - 340))
        _disc(ink, x, y, 2 + (y - 330) / 26, rgb(beds.choice(("#e8615a", "#f6b14a", "#fff3d8", "#c77fb8", "#f08f7a"))))
    return sheet


def _leaf(ink: ImageDraw.ImageDraw, side: int, opened: float) -> None:
    """One leaf of the gate, hung at the side; as it swings away from the eye its far edge grows shorter."""
    angle = opened * math.radians(76)
    hinge, reach = MIDDLE + side * (OPENING - 2), (OPENING - 4) * math.cos(angle)
    depth = math.sin(angle) * 0.24

    def at(along: float, up: float) -> tuple[float, float]:
        """`along` from hinge to latch, `up` in px from the foot of the gate."""
        return hinge - side * along * reach, FOOT - 6 - up * (1 - depth * along) - along * depth * 90

    for low, high in ((30, 42), (120, 132)):
        ink.polygon(_scaled([at(0, low), at(1, low), at(1, high), at(0, high)]), fill=SHADE)
    for number in range(6):
        start, end = number / 6 + 0.02, (number + 1) / 6 - 0.025
        top = 150 + 26 * math.sin(math.pi / 2 * (number + 0.5) / 6)
        shade = mix(WHITE, SHADE, 0.9 * opened * (0.4 + 0.1 * number))
        middle = (start + end) / 2
        board = [at(start, 4), at(end, 4), at(end, top), at(middle, top + 12), at(start, top)]
        ink.polygon(_scaled(board), fill=shade)
    x, y = at(0.93, 96)
    _disc(ink, x, y, 4.5, rgb("#c98a3f"))


def _pot(ink: ImageDraw.ImageDraw, side: int) -> None:
    x, y = (MIDDLE + side * 196) * SCALE, 372 * SCALE
    for turn in (-1.05, -0.6, -0.2, 0.25, 0.65, 1.0):
        colours = mix(rgb("#56a05c"), HEDGE, abs(turn) * 0.6), mix(rgb("#a5d77c"), HEDGE_LIGHT, abs(turn) * 0.6)
        frond(ink, (x, y), -math.pi / 2 + turn, 96 * SCALE, colours, bend=turn * 0.9, pairs=12, slim=0.24)
    u = SCALE
    pot = ((-31, -4), (31, -4), (22, 56), (-22, 56))
    ink.polygon([(x + across * u, y + down * u) for across, down in pot], fill=rgb("#c8714a"))
    ink.rounded_rectangle((x - 36 * u, y - 10 * u, x + 36 * u, y + 6 * u), 5 * u, fill=rgb("#dd8a5d"))


def _name(ink: ImageDraw.ImageDraw) -> None:
    ink.rounded_rectangle([v * SCALE for v in (220, 62, 500, 112)], 25 * SCALE, fill=rgb("#1f4b3a"))
    lettering(ink, (MIDDLE * SCALE, 87 * SCALE), "MOSS & MINT", 30 * SCALE, rgb("#f9efcb"), 4 * SCALE)
