"""Finished pictures as JPEG and WebP: bare of metadata, the same bytes for the same pixels."""

from __future__ import annotations

import io

from PIL import Image

from keyturn.normalize import scale
from keyturn.png.png_writer import rgb_only


def jpeg(image: Image.Image, quality: int = 90) -> bytes:
    """Baseline, not progressive; full colour resolution (4:4:4), for drawn edges fringe without it."""
    return _saved(rgb_only(image), "JPEG", quality=quality, subsampling=0, progressive=False, optimize=False)


def thumbnail(image: Image.Image, long_side: int) -> bytes:
    """A WebP of at most `long_side` pixels a side, never enlarged."""
    small = rgb_only(image)
    return webp(reduced(small, long_side / max(small.size)), 80)


def reduced(image: Image.Image, share: float) -> Image.Image:
    """An RGB picture with sides of `share` times its own, never enlarged."""
    size = reduced_size(image.size, share)
    return image if size == image.size else scale.lanczos(image, size, (0.0, 0.0, *image.size))


def reduced_size(size: tuple[int, int], share: float) -> tuple[int, int]:
    """The size of a picture after `reduced`."""
    wide, high = (max(1, round(side * share)) for side in size)
    return size if share >= 1 else (wide, high)


def webp(image: Image.Image, quality: int) -> bytes:
    """A lossy WebP."""
    return _saved(rgb_only(image), "WEBP", quality=quality, method=2)


def _saved(image: Image.Image, format: str, **how: object) -> bytes:
    """Without `info`, from which Pillow would write profiles, comments and transparent colours."""
    bare = image.copy()
    bare.info = {}
    file = io.BytesIO()
    bare.save(file, format, **how)
    return file.getvalue()
