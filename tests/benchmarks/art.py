"""Input for the benchmarks, drawn here from seeded numbers: the same files on every machine with the same Pillow."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

HD = (1920, 1080)
PHOTO_MPX_12 = (4000, 3000)
CLIP = (800, 600)

U8 = NDArray[np.uint8]


def scene(size: tuple[int, int], grain: float, seed: int) -> U8:
    """(H, W, 3): light falling over surfaces with detail at every scale (1/f), and a sensor's grain."""
    wide, high = size
    dice = np.random.default_rng(seed)
    made = np.zeros((high, wide, 3), np.float32)
    for octave in range(2, 9):
        small = dice.normal(0, 1, (max(2, high * 2**octave // 1080), max(2, wide * 2**octave // 1080), 3))
        for channel in range(3):
            layer = Image.fromarray(small[..., channel].astype(np.float32))
            made[..., channel] += np.asarray(layer.resize(size, Image.Resampling.BICUBIC)) * 2.0 ** (1 - octave / 1.6)
    grey = made.mean(axis=2, keepdims=True)
    made = grey + (made - grey) * 0.35  # neighbouring channels of a photograph go together
    made = 118 + made / made.std() * 46 + dice.normal(0, grain, made.shape)
    return np.clip(made, 0, 255).astype(np.uint8)


def photographic(count: int) -> Iterator[Image.Image]:
    """1080p RGBA, opaque: a slow pan, each frame with grain of its own, as film editors export it."""
    wide, high = HD
    still = scene((wide + 4 * count, high), 0, 1)
    dice = np.random.default_rng(2)
    for i in range(count):
        grain = dice.normal(0, 2.0, (high, wide, 3))
        pixels = np.clip(still[:, 4 * i : 4 * i + wide] + grain, 0, 255).astype(np.uint8)
        made = Image.fromarray(pixels)
        made.putalpha(255)
        yield made


def flat(count: int) -> Iterator[Image.Image]:
    """1080p RGBA, opaque: an evening sky in even steps, a sun, a van and hills in plain colours."""
    wide, high = HD
    for i in range(count):
        made = Image.new("RGBA", HD, (11, 29, 42, 255))
        draw = ImageDraw.Draw(made)
        for band in range(24):
            draw.rectangle((0, band * 30, wide, high), fill=(20 + 7 * band, 34 + 5 * band, 70 + band, 255))
        x = wide // 2 - 200 + 8 * i
        draw.ellipse((900, 240 + 2 * i, 1160, 500 + 2 * i), fill=(250, 190, 70, 255))
        for hill in range(3):
            ridge = [
                (px, 700 + 90 * hill + 60 * math.sin(px / (170 + 60 * hill) + hill)) for px in range(0, wide + 8, 8)
            ]
            draw.polygon([(0, high), *ridge, (wide, high)], fill=(16 + 9 * hill, 60 + 20 * hill, 52, 255))
        _van(draw, x, 760, (214, 62, 48, 255))
        yield made


def sprites(count: int) -> Iterator[Image.Image]:
    """1080p RGBA, mostly clear: a cut-out van with soft edges, a glow round its lamps and a shadow under it."""
    for i in range(count):
        glow = Image.new("RGBA", HD, (0, 0, 0, 0))
        draw = ImageDraw.Draw(glow)
        x = HD[0] // 2 - 260 + 6 * i
        draw.ellipse((x - 10, 905, x + 470, 960), fill=(0, 0, 0, 150))
        draw.ellipse((x + 380, 780, x + 520, 920), fill=(255, 230, 150, 120))
        made = glow.filter(ImageFilter.GaussianBlur(14))
        _van(ImageDraw.Draw(made), x, 700, (52, 140, 104, 255))
        yield made.filter(ImageFilter.GaussianBlur(0.8))


def _van(draw: ImageDraw.ImageDraw, x: int, y: int, colour: tuple[int, int, int, int]) -> None:
    draw.rounded_rectangle((x, y, x + 440, y + 200), 36, fill=colour)
    draw.rounded_rectangle((x + 300, y + 30, x + 420, y + 110), 14, fill=(190, 225, 235, 255))
    draw.rectangle((x, y + 120, x + 440, y + 132), fill=(250, 240, 220, 255))
    draw.text((x + 30, y + 30), "FERN HOLLOW\nMOBILE LIBRARY", fill=(250, 240, 220, 255), font_size=32)
    for wheel in (x + 90, x + 340):
        draw.ellipse((wheel - 44, y + 156, wheel + 44, y + 244), fill=(24, 24, 28, 255))


def samples(count: int) -> Iterator[Image.Image]:
    """1080p RGBA that nobody here drew: the colour photographs in scikit-image's wheel, each shown for a while and
    slowly enlarged, with a sensor's grain, and a see-through box where a logo would stand."""
    from skimage import data

    wide, high = HD
    stills = [Image.fromarray(load()) for load in (data.coffee, data.astronaut, data.chelsea)]
    dice = np.random.default_rng(5)
    for i in range(count):
        still = stills[3 * i // count]
        share = 0.9 - 0.003 * i
        keep = share * min(still.width / wide, still.height / high)
        left, top = (still.width - keep * wide) / 2, (still.height - keep * high) / 2
        box = (left, top, left + keep * wide, top + keep * high)
        light = np.asarray(still.resize(HD, Image.Resampling.BICUBIC, box), np.float32)
        made = Image.fromarray(np.clip(light + dice.normal(0, 2.0, light.shape), 0, 255).astype(np.uint8))
        made.putalpha(255)
        made.paste((0, 0, 0, 0), (700, 800, 1220, 1000))
        yield made


def photos(count: int) -> Iterator[Image.Image]:
    """12-megapixel photographs as a phone takes them."""
    still = scene((PHOTO_MPX_12[0] + 16 * count, PHOTO_MPX_12[1]), 3.0, 3)
    for i in range(count):
        yield Image.fromarray(still[:, 16 * i : 16 * i + PHOTO_MPX_12[0]])


def clip(count: int) -> list[Image.Image]:
    """800 x 600 in 256 colours: a van before a scene of gradients, the lamps coming on."""
    ground = Image.fromarray(scene(CLIP, 0, 4)).filter(ImageFilter.GaussianBlur(3))
    frames = []
    for i in range(count):
        made = ground.copy()
        lamp = Image.new("L", CLIP, 0)
        ImageDraw.Draw(lamp).ellipse((300, 200, 700, 560), fill=4 * i)
        made.paste((255, 220, 120), (0, 0), lamp.filter(ImageFilter.GaussianBlur(30)))
        _van(ImageDraw.Draw(made), 40 + 6 * i, 300, (214, 62, 48, 255))
        frames.append(made.convert("RGB").quantize(256, dither=Image.Dither.FLOYDSTEINBERG))
    return frames


def write(kind: str, folder: Path, count: int) -> list[Path]:
    """`count` frames of `kind` in `folder`; files there already are taken as they are."""
    folder.mkdir(parents=True, exist_ok=True)
    if kind == "clip":
        path = folder / "clip.gif"
        if not path.exists():
            first, *rest = clip(count)
            first.save(path, save_all=True, append_images=rest, duration=50, loop=0)
        return [path]
    drawn, suffix = STILLS[kind]
    paths = [folder / f"{i + 1:04d}{suffix}" for i in range(count)]
    if not all(path.exists() for path in paths):
        for path, image in zip(paths, drawn(count), strict=True):
            image.save(path, **({"quality": 92, "subsampling": "4:2:0"} if suffix == ".jpg" else {"compress_level": 4}))
    return paths


STILLS: dict[str, tuple[Callable[[int], Iterator[Image.Image]], str]] = {
    "photographic": (photographic, ".png"),
    "samples": (samples, ".png"),
    "flat": (flat, ".png"),
    "sprites": (sprites, ".png"),
    "photos": (photos, ".jpg"),
}
KINDS = (*STILLS, "clip")
