"""Pictures of 16 bits a channel brought to 8 by rounding.

Pillow keeps only the high byte of 16-bit colour, which is one step too dark for a quarter of all values.
Sample depth scaling by the PNG specification (third edition, 12.4) is round(v x 255 / 65535).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile

_LOW_BYTE = {"16B": "16L", "16L": "16B", "16N": "16B" if sys.byteorder == "little" else "16L"}
"""The other byte order of each: 16-bit samples read in it give their low bytes in place of the high ones."""

_GREY_16 = ("I;16", "I;16B", "I;16L", "I;16N")
_TIFF_BITS_PER_SAMPLE = 258


def sample_bits(image: ImageFile.ImageFile) -> int:
    """Return the bits of one sample of a picture that Pillow has opened, by its TIFF tags or its mode."""
    tags = getattr(image, "tag_v2", None)
    if tags is not None:
        return int(max(tags.get(_TIFF_BITS_PER_SAMPLE, (8,))))
    return 1 if image.mode == "1" else 8


def rounded(image: ImageFile.ImageFile, again: Callable[[], ImageFile.ImageFile]) -> Image.Image | None:
    """Return an opened 16-bit picture in 8 bits; None for any other picture. `again` opens it once more."""
    if image.mode in _GREY_16:
        image.load()
        return narrowed(image)
    raw = _raw_mode(image)
    if raw == "LA;16B":
        return _grey_alpha(image)
    colours, _, order = raw.partition(";")
    if colours not in ("RGB", "RGBA") or order not in _LOW_BYTE:
        return None
    low = again()
    low.tile = [tile._replace(args=_with_raw(tile.args, f"{colours};{_LOW_BYTE[order]}")) for tile in low.tile]
    high_bytes, low_bytes = np.asarray(image), np.asarray(low)
    return _with_info(_keyed(high_bytes, low_bytes, image.info.get("transparency")), image)


def narrowed(image: Image.Image) -> Image.Image:
    """Return 16-bit grey as 8-bit L, or LA where one grey is marked transparent."""
    wide = np.asarray(image).astype(np.uint16)
    grey = ((wide.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8)
    key = image.info.get("transparency")
    if key is None:
        return _with_info(Image.fromarray(grey), image)
    alpha = np.where(wide == key, np.uint8(0), np.uint8(255))
    return _with_info(Image.merge("LA", (Image.fromarray(grey), Image.fromarray(alpha))), image)


def scale_key(image: ImageFile.ImageFile) -> None:
    """Scale the transparent grey in `info` to 8 bits: Pillow scales only the pixels of 2- and 4-bit greys."""
    step = {"L;2": 85, "L;4": 17}.get(_raw_mode(image))
    if step and isinstance(key := image.info.get("transparency"), int):
        image.info["transparency"] = key * step


def _grey_alpha(image: ImageFile.ImageFile) -> Image.Image:
    """Return 16-bit grey with alpha in 8 bits. It has four bytes a pixel, so it is read as 8-bit RGBA."""
    image.tile = [tile._replace(args="RGBA") for tile in image.tile]
    four = np.asarray(image)
    return _with_info(Image.fromarray(_rounded_bytes(four[..., 0::2], four[..., 1::2])), image)


def _keyed(high: NDArray[np.uint8], low: NDArray[np.uint8], key: tuple[int, int, int] | None) -> Image.Image:
    colours = Image.fromarray(_rounded_bytes(high, low))
    if key is None:
        return colours
    clear = (high == np.array(key) >> 8).all(-1) & (low == np.array(key) & 255).all(-1)
    colours.putalpha(Image.fromarray(np.where(clear, np.uint8(0), np.uint8(255))))
    return colours


def _rounded_bytes(high: NDArray[np.uint8], low: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return round(v / 257) for v = 256 high + low = 257 high + (low - high), in 16-bit arithmetic."""
    rest = low.astype(np.int16) - high
    return np.asarray(high + (rest > 128) - (rest < -128).astype(np.uint8), np.uint8)


def _with_info(made: Image.Image, source: Image.Image) -> Image.Image:
    made.info = {key: value for key, value in source.info.items() if key != "transparency"}
    return made


def _raw_mode(image: ImageFile.ImageFile) -> str:
    """Return how Pillow's decoder unpacks the samples, such as "RGB;16B"; empty where it does not say."""
    args = image.tile[0].args if image.tile else None
    raw = args[0] if isinstance(args, tuple) and args else args
    return raw if isinstance(raw, str) else ""


def _with_raw(args: Any, raw: str) -> Any:
    return (raw, *args[1:]) if isinstance(args, tuple) else raw
