"""A finished frame's file made smaller: packed harder without loss, or as JPEG with what that lost."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.eye import loss
from keyturn.package import jpeg_and_webp
from keyturn.png import deflate, palette, png_writer, row_filters

_ALL = (row_filters.NONE, row_filters.SUB, row_filters.UP, row_filters.AVERAGE, row_filters.PAETH)
_TRIED = (_ALL, (row_filters.NONE,), (row_filters.UP,), (row_filters.PAETH,))
"""Choosing each row's filter by the least sum of differences only guesses what deflates best. One filter for the
whole picture often makes a smaller file."""


@dataclass(frozen=True, slots=True)
class Recode:
    """`data` is a finished PNG. `quality` is that of the JPEG wanted; None asks for a PNG of the same pixels.

    `name` is the picture's path in the drop.
    """

    data: bytes
    quality: int | None
    name: str


@dataclass(frozen=True, slots=True)
class Recoded:
    """The new file. `lost` is `eye.loss.lost` from the old file to it, 0 where no pixel differs."""

    data: bytes
    lost: float


def recode(job: Recode) -> Recoded:
    """Return the smaller file. A PNG is never larger than the one given; a JPEG may be."""
    image = Image.open(io.BytesIO(job.data))
    few_colours = image.mode == "P"
    picture = image.convert("RGB")
    pixels: NDArray[np.uint8] = np.asarray(picture)
    if job.quality is None:
        return Recoded(_hardest(job.data, pixels, few_colours), 0.0)
    data = jpeg_and_webp.jpeg(picture, job.quality)
    return Recoded(data, loss.lost(pixels, np.asarray(Image.open(io.BytesIO(data)))))


def _hardest(data: bytes, pixels: NDArray[np.uint8], few_colours: bool) -> bytes:
    size = pixels.shape[1], pixels.shape[0]
    tries = [png_writer.png_of(size, deflate.of_hardest(row_filters.filtered(pixels, filters))) for filters in _TRIED]
    tries.append(png_writer.png_of(size, deflate.of_grain(row_filters.filtered(pixels, _ALL))))
    indexed = palette.png(pixels, deflate.of_hardest) if few_colours else None
    return min([data, *tries, *([indexed] if indexed else [])], key=len)
