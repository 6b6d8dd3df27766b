"""Sound files hurt: cut short, bits flipped, misnamed, followed by litter; pictures of absurd shape; odd profiles."""

from __future__ import annotations

import io
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from PIL import Image

from odd import jpegs, light, pngs
from odd.marker import COLOURS, GREYS, Odd, shown, spread

_ENDINGS = {"png": "jpg", "jpeg": "png", "tiff": "gif", "bmp": "tif", "gif": "webp", "webp": "bmp", "apng": "png"}
_ENDINGS |= {"tga": "png", "ppm": "txt", "ico": "bmp", "jp2": "jpg", "qoi": "raw"}


def files(sound: Sequence[Odd], each: int) -> Iterator[Odd]:
    """`each`: how many of every family are hurt."""
    dice = random.Random(20260301)
    for family in _ENDINGS:
        mine = [odd for odd in sound if odd.family == family and odd.expect == "made"]
        for number, odd in enumerate(dice.sample(mine, min(each, len(mine)))):
            yield from _hurt(odd, number, dice)
    yield from _shapes()
    yield from _profiles()


def _hurt(odd: Odd, number: int, dice: random.Random) -> Iterator[Odd]:
    at = len(odd.data) * (1 + number % 20) // 21
    yield replace(odd, name=f"{odd.name}.cut", data=odd.data[:at], expect="any" if odd.family == "tiff" else "either")
    data = bytearray(odd.data)
    for _ in range(dice.randint(1, 5)):
        data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
    yield replace(odd, name=f"{odd.name}.flipped", data=bytes(data), expect="any")
    yield replace(odd, name=f"{odd.name}.litter", data=odd.data + dice.randbytes(700))
    yield replace(odd, name=f"{odd.name}.{_ENDINGS[odd.family]}")


def _shapes() -> Iterator[Odd]:
    colour = COLOURS[0, 1]
    wanted = np.broadcast_to(colour.astype(float), (4, 3, 3))
    for kind in ("PNG", "JPEG", "TIFF", "BMP", "GIF", "WEBP"):
        for size in [(1, 1), (1, 2), (2, 1), (1, 5000), (5000, 1), (3, 4), (7, 3), (4096, 2)]:
            file = io.BytesIO()
            Image.new("RGB", size, tuple(colour.tolist())).save(file, kind)
            name = f"{kind.lower()}-shape-{size[0]}x{size[1]}"
            yield Odd(name, file.getvalue(), (np.array(wanted),), apart=12, margins=True)


def _profiles() -> Iterator[Odd]:
    """PNG, TIFF and WebP with profiles sound, broken and unfit."""
    p3, prophoto = light.as_srgb(COLOURS, "p3"), light.as_srgb(COLOURS, "prophoto", 1.8)
    flat = np.broadcast_to(np.array([60.0, 0, 0]), (8, 3))
    whole = light.matrix("p3")
    cut = b"".join([len(whole[:-400]).to_bytes(4, "big"), whole[4:-400]])
    for name, profile, wanted, apart in [
        ("p3", whole, p3, 4),
        ("p3v4", light.matrix("p3", version=4), p3, 4),
        ("gamma", light.matrix("adobe", 2.2), light.as_srgb(COLOURS, "adobe", 2.2), 4),
        ("prophoto", light.matrix("prophoto", 1.8), prophoto, 6),
        ("huge", light.matrix("p3", padding=3_000_000), p3, 4),
        ("lab", light.lut(b"RGB ", 3, flat), None, 255),
        ("inks", light.lut(b"CMYK", 4, np.broadcast_to(flat[:1], (16, 3))), shown(COLOURS), 4),
        ("grey", light.grey(1.8), shown(COLOURS), 4),
        ("greyv4", light.grey(1.8, 4), shown(COLOURS), 4),
        ("junk", b"junk" * 200, shown(COLOURS), 4),
        ("empty", bytes(128), shown(COLOURS), 4),
        ("cut", cut, None, 255),
        ("zeros", whole[:128] + bytes(len(whole) - 128), None, 255),
    ]:
        looks = (shown(COLOURS) if wanted is None else wanted,)
        expect = "any" if wanted is None else "made"
        for kind, how in [("PNG", {}), ("TIFF", {}), ("WEBP", {"lossless": True})]:
            file = io.BytesIO()
            Image.fromarray(spread(COLOURS, (48, 64))).save(file, kind, icc_profile=profile, **how)
            yield Odd(f"{kind.lower()}-profile-{name}", file.getvalue(), looks, expect, apart)  # type: ignore[arg-type]
    wanted_grey = 255 * light.encoded(shown(GREYS) / 255 * 0 + (shown(GREYS) / 255) ** 1.8)
    for name, profile, looks in [("own", light.grey(1.8), wanted_grey), ("ofcolour", whole, shown(GREYS))]:
        data = jpegs.saved(spread(GREYS, (48, 64)), icc_profile=profile)
        yield Odd(f"jpeg-profile-grey{name}", data, (looks,), apart=12)
        data = pngs.file(pngs.art(0, 8), (48, 64), first=pngs.icc(profile))
        yield Odd(f"png-profile-grey{name}", data, (looks,), apart=4)
        data = pngs.file(pngs.art(0, 16), (48, 64), first=pngs.icc(profile))
        yield Odd(f"png-profile-deep{name}", data, (looks,), apart=4)
