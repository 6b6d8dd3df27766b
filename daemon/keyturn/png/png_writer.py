"""Finished frames as PNG files: bare of metadata, the same bytes for the same pixels."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.png import chunks, deflate, row_filters

U8 = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class _Way:
    """Filters to choose from for each row, and how the rows are then packed."""

    filters: tuple[int, ...]
    pack: Callable[[Any], bytes]


_DRAWN = _Way((row_filters.NONE, row_filters.SUB, row_filters.UP), deflate.of_repeats)
_SOFT = _Way((row_filters.SUB, row_filters.UP, row_filters.AVERAGE), deflate.of_grain)
_CRISP = _Way((row_filters.SUB, row_filters.UP, row_filters.PAETH), deflate.of_grain)

_FEW_REPEATS, _MANY_REPEATS, _COLOURS = 0.2, 0.9, 0.1
"""Where more than `_MANY_REPEATS` of the pixels equal their left neighbour, art is drawn. Where fewer than
`_FEW_REPEATS` do and at least `_COLOURS` of all are colours of their own, it is grainy. The rest is tried all ways.

Measured over seventeen kinds of 768 x 1024 art, against Pillow's level 6. Photographs and coloured grain
(repeats up to 0.11, colours from 0.58): run lengths take a third of the time of full deflate and make
smaller files. Lettering and drawn shapes (repeats from 0.9): full deflate makes files of an eighth to all of
the size. Glows, gradients, dithered palettes and grey photographs lie between, and go either way.
"""

_SAMPLES, _SAMPLE_ROWS = 3, 24


def png(image: Image.Image) -> bytes:
    """8-bit RGB, not interlaced, of IHDR, IDAT and IEND alone."""
    pixels = np.asarray(rgb_only(image))
    way = _way(pixels)
    return png_of(image.size, way.pack(row_filters.filtered(pixels, way.filters)))


def rgb_only(image: Image.Image) -> Image.Image:
    """Return `image`. Raise ValueError where its mode is not RGB, which only a mistake of ours can cause."""
    if image.mode != "RGB":
        raise ValueError(f"a finished frame is RGB, not {image.mode}")
    return image


def png_of(size: tuple[int, int], data: bytes, palette: bytes = b"") -> bytes:
    """A PNG file around a finished stream of 8-bit rows (PNG specification, third edition, 5 and 11.2): RGB, or
    with a `palette` (three bytes a colour) indexes into it."""
    header = struct.pack(">IIBBBBB", *size, 8, 3 if palette else 2, 0, 0, 0)
    contents = [(b"IHDR", header), (b"IDAT", data), (b"IEND", b"")]
    if palette:
        contents.insert(1, (b"PLTE", palette))
    return chunks.PNG_SIGNATURE + b"".join(chunks.written(kind, content) for kind, content in contents)


def packed_size(pixels: U8) -> float:
    """About how many bytes `png` needs for the rows of `pixels` (H, W, 3), from a few of them."""
    samples = _samples(pixels)
    sampled = sum(len(sample) for sample, _ in samples)
    return _tried(_way(pixels), samples) * len(pixels) / sampled


def _way(pixels: U8) -> _Way:
    ways = _likely(pixels)
    if len(ways) == 1:
        return ways[0]
    samples = _samples(pixels)
    return min(ways, key=lambda way: _tried(way, samples))


def _likely(pixels: U8) -> tuple[_Way, ...]:
    repeats, colours = _nature(pixels)
    if repeats > _MANY_REPEATS:
        return (_DRAWN,)
    if repeats < _FEW_REPEATS and colours >= _COLOURS:
        return _SOFT, _CRISP
    return _DRAWN, _SOFT, _CRISP


def is_photographic(pixels: U8) -> bool:
    """Are (H, W, 3) pixels like a photograph, grainy or soft: many colours, and not mostly even?"""
    repeats, colours = _nature(pixels)
    return repeats <= _MANY_REPEATS and colours >= _COLOURS


def _nature(pixels: U8) -> tuple[float, float]:
    """Of some rows' pixels: the share that equal their left neighbour, and of colours of their own."""
    few = codes(pixels[:: min(32, 1 + len(pixels) // 32)])
    repeats = np.count_nonzero(few[:, 1:] == few[:, :-1])
    return repeats / few.size, distinct(few) / few.size


def codes(pixels: U8) -> NDArray[np.uint32]:
    """Each pixel of (H, W, 3) as one number: red times 65536, green times 256, blue."""
    wide = pixels.astype(np.uint32)
    coded: NDArray[np.uint32] = wide[..., 0] * np.uint32(1 << 16) + wide[..., 1] * np.uint32(1 << 8) + wide[..., 2]
    return coded


def distinct(colours: NDArray[np.uint32]) -> int:
    """How many colours occur, or a few less: marks in a table of 2^16, by multiplicative hashing."""
    marks = np.zeros(1 << 16, np.bool_)
    marks[colours * np.uint32(2654435761) >> np.uint32(16)] = True
    return int(np.count_nonzero(marks))


def _samples(pixels: U8) -> list[tuple[U8, U8 | None]]:
    """Bands of rows spread over the picture, each with the row above it."""
    starts = (np.arange(_SAMPLES) * 2 + 1) * len(pixels) // (2 * _SAMPLES)
    return [(pixels[y : y + _SAMPLE_ROWS], pixels[y - 1] if y else None) for y in starts]


def _tried(way: _Way, samples: list[tuple[U8, U8 | None]]) -> int:
    return sum(len(way.pack(row_filters.filtered(sample, way.filters, above))) for sample, above in samples)
