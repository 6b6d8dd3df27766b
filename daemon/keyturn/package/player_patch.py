"""One picture of the sheet's player: whole, or only the box that differs from its part's first picture.

The player draws the box over that picture, the base.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

from PIL import Image, ImageChops

from keyturn.flatten.frame_source import Source
from keyturn.normalize import decode
from keyturn.package import jpeg_and_webp

PATCH_AT_MOST = 0.9
"""A box of a larger share of the picture saves nothing: the picture is kept whole."""


@dataclass(frozen=True, slots=True)
class PictureJob:
    """One picture of the player. `file` and `base` are PNG or JPEG files of the panel's size; `name` is its source's.

    `short_side` in pixels is that of the picture to make; None keeps the panel's size.
    """

    file: bytes
    base: bytes | None
    short_side: int | None
    quality: int
    name: str = ""


@dataclass(frozen=True, slots=True)
class PictureDone:
    """A WebP file and its place: `at` is the upper left corner on the base, None for a picture that needs none.

    `size` is (width, height) of the whole picture in pixels.
    """

    webp: bytes
    at: tuple[int, int] | None
    size: tuple[int, int]


@dataclass(frozen=True, slots=True)
class PatchJob:
    """The player's picture that is to be made with a frame, of the pixels that are at hand then.

    `base` is the source of its part's first frame; `short_side` in pixels and `quality` are as in `PictureJob`.
    """

    base: Source
    short_side: int
    quality: int


@dataclass(frozen=True, slots=True)
class PatchDone:
    """What became of a `PatchJob`, and what it was made for: `base` is the BLAKE3 of the base's pixels."""

    base: str
    short_side: int
    quality: int
    picture: PictureDone


def make_picture(job: PictureJob) -> PictureDone:
    """Return the picture, or its box that differs from the base. Runs in a worker."""
    picture = _small(job.file, job.short_side)
    return beside(picture, None if job.base is None else _small_base(job.base, job.short_side), job.quality)


def beside(picture: Image.Image, base: Image.Image | None, quality: int) -> PictureDone:
    """Return the picture as WebP, or its box that differs from a base of the same size."""
    if base is not None:
        box = ImageChops.difference(picture, base).getbbox() or (0, 0, 1, 1)
        if (box[2] - box[0]) * (box[3] - box[1]) <= PATCH_AT_MOST * picture.width * picture.height:
            return PictureDone(jpeg_and_webp.webp(picture.crop(box), quality), box[:2], picture.size)
    return PictureDone(jpeg_and_webp.webp(picture, quality), None, picture.size)


def _small(file: bytes, short_side: int | None) -> Image.Image:
    with Image.open(io.BytesIO(file)) as opened:
        picture = (decode.quickly(opened, io.BytesIO(file)) or opened).convert("RGB")
    return small(picture, short_side)


def small(picture: Image.Image, short_side: int | None) -> Image.Image:
    """Return the picture with a short side of so many pixels; None keeps its size."""
    return jpeg_and_webp.reduced(picture, share(picture.size, short_side))


def share(size: tuple[int, int], short_side: int | None) -> float:
    """Return how much smaller a picture of `size` is to be; None keeps its size."""
    return 1.0 if short_side is None else short_side / min(size)


@lru_cache(maxsize=2)
def _small_base(file: bytes, short_side: int | None) -> Image.Image:
    """Every picture of a part has the same base."""
    return _small(file, short_side)
