"""ferry-steps: the morning ferry comes in to the steps. The drop has four faults that only its artist can mend."""

from __future__ import annotations

import math
from pathlib import Path

from PIL import Image, ImageDraw

from _scenes.art import gradient, lettering, mix, rgb, save_flat, shared_palette, shrunk, smooth

SIZE = (576, 768)
FRAMES = 6
COLOURS = 48
SCALE = 2
WATER = 392


def draw(folder: Path) -> None:
    frames = [picture(number / (FRAMES - 1)) for number in range(FRAMES)]
    palette = shared_palette([frames[0], frames[-1]], COLOURS)
    for number, frame in enumerate(frames, 1):
        save_flat(frame, folder / "steps" / f"step {number:02d}.png", palette)
    save_flat(picture(0.30), folder / "steps" / "step 03 (1).png", palette)  # an older draft of step 03
    _cut_short(folder / "steps" / "step 05.png")


def _cut_short(path: Path) -> None:
    """As when the copying stopped half-way."""
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])


def picture(t: float) -> Image.Image:
    size = SIZE[0] * SCALE, SIZE[1] * SCALE
    sheet = gradient(size, [(0, "#6fb3c9"), (0.28, "#bfe0d6"), (0.46, "#fbe6bf"), (0.51, "#fbd7a4"), (1, "#fbd7a4")])
    sheet = sheet.quantize(16, Image.Quantize.MEDIANCUT).convert("RGB")
    ink = ImageDraw.Draw(sheet)
    _far_bank(ink)
    _river(ink)
    _ferry(ink, 620 - 300 * smooth(t), 2.5 * math.sin(t * 6))
    _steps(ink)
    lettering(ink, (288 * SCALE, 92 * SCALE), "FERRY STEPS", 52 * SCALE, rgb("#fffaf0"), 6 * SCALE)
    lettering(ink, (288 * SCALE, 142 * SCALE), "Fern Hollow", 28 * SCALE, rgb("#1f5666"), 3 * SCALE)
    return shrunk(sheet, SCALE)


def _polygon(ink: ImageDraw.ImageDraw, points: list[tuple[float, float]], colour: str) -> None:
    ink.polygon([(x * SCALE, y * SCALE) for x, y in points], fill=rgb(colour))


def _far_bank(ink: ImageDraw.ImageDraw) -> None:
    x, y, r = 140 * SCALE, 330 * SCALE, 44 * SCALE
    ink.ellipse((x - r, y - r, x + r, y + r), fill=rgb("#fff4d6"))
    for level, swing, colour in ((338, 22, "#a9c9b4"), (362, 14, "#7fae9a"), (380, 7, "#55897c")):
        hill = [(float(x), level + swing * math.sin(x / 70 + level)) for x in range(0, SIZE[0] + 9, 8)]
        _polygon(ink, [*hill, (SIZE[0] + 8, WATER), (0, WATER)], colour)


def _river(ink: ImageDraw.ImageDraw) -> None:
    for number in range(9):
        top = WATER + 200 * (number / 9) ** 1.5
        colour = mix(rgb("#8fc6c6"), rgb("#2f7285"), number / 8)
        ink.rectangle((0, top * SCALE, SIZE[0] * SCALE, SIZE[1] * SCALE), fill=colour)
    for number in range(14):  # the sun's path
        y, half = WATER + 4 + number * 12, 34 - number * 1.4
        x = 140 + 9 * math.sin(number * 2.1)
        ink.rounded_rectangle([v * SCALE for v in (x - half, y, x + half, y + 4)], 2 * SCALE, fill=rgb("#f7e3bb"))


def _ferry(ink: ImageDraw.ImageDraw, x: float, lift: float) -> None:
    y = WATER + 64 + lift
    for number in range(3):
        shade, drop = ("#2a6475", "#3a7788", "#4a8593")[number], 12 + number * 9
        ink.rounded_rectangle(
            [v * SCALE for v in (x - 104 + number * 20, y + drop, x + 98 - number * 24, y + drop + 5)],
            2 * SCALE,
            fill=rgb(shade),
        )
    _polygon(ink, [(x - 128, y - 26), (x + 118, y - 26), (x + 100, y + 16), (x - 96, y + 16)], "#c4523f")
    _polygon(ink, [(x - 128, y - 26), (x + 118, y - 26), (x + 115, y - 17), (x - 123, y - 17)], "#f3e4c4")
    ink.rounded_rectangle([v * SCALE for v in (x - 62, y - 78, x + 74, y - 26)], 8 * SCALE, fill=rgb("#f8efd8"))
    ink.rounded_rectangle([v * SCALE for v in (x - 74, y - 90, x + 84, y - 76)], 6 * SCALE, fill=rgb("#1f5666"))
    for number in range(4):
        left = x - 52 + number * 31
        ink.rounded_rectangle([v * SCALE for v in (left, y - 66, left + 22, y - 42)], 4 * SCALE, fill=rgb("#6fb3c9"))
    ink.rectangle([v * SCALE for v in (x + 34, y - 116, x + 52, y - 90)], fill=rgb("#e0a24a"))
    ink.rectangle([v * SCALE for v in (x - 106, y - 100, x - 103, y - 26)], fill=rgb("#7a4a30"))
    _polygon(ink, [(x - 103, y - 100), (x - 70, y - 90), (x - 103, y - 80)], "#e0a24a")


def _steps(ink: ImageDraw.ImageDraw) -> None:
    """Stone steps that lead from the eye down to the water, with a bollard on either hand."""
    top = 566.0
    for number in range(6):
        high = 16 + number * 7
        left, right = 150 - number * 28, 426 + number * 28
        tread, riser = mix(rgb("#d8c7a8"), rgb("#efe0c2"), number / 5), mix(rgb("#8f7f6f"), rgb("#a89580"), number / 5)
        ink.rectangle([v * SCALE for v in (left, top, right, top + high * 0.55)], fill=tread)
        ink.rectangle([v * SCALE for v in (left, top + high * 0.55, right, top + high + 1)], fill=riser)
        top += high
    for x in (70, 506):
        ink.rounded_rectangle([v * SCALE for v in (x - 20, 560, x + 20, 700)], 10 * SCALE, fill=rgb("#264c57"))
        ink.rounded_rectangle([v * SCALE for v in (x - 27, 548, x + 27, 578)], 14 * SCALE, fill=rgb("#36646f"))
        ink.rectangle([v * SCALE for v in (x - 20, 606, x + 20, 614)], fill=rgb("#e0a24a"))
