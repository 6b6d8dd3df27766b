"""Finished frames as files: bare of metadata, the same bytes for the same pixels."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

_REPEATS, _COLOURS = 0.3, 0.1
"""Where more pixels than `_REPEATS` equal their left neighbour, or fewer colours than `_COLOURS` of all pixels
occur, art counts as flat.

Measured over sixteen kinds of 768 x 1024 art. Photographs and coloured grain (repeats up to 0.11, colours
from 0.58): run-length deflate takes a quarter of the time of zlib's level 6 for about the same size.
Gradients, glows, lettering, drawn shapes (repeats from 0.57) and grey photographs (colours 0.004): level 6
makes files of a seventh to nine tenths of the size, most of them in under 60 ms.
"""


def png(image: Image.Image) -> bytes:
    """8-bit RGB, not interlaced, of IHDR, IDAT and IEND alone."""
    bare = _bare(image)
    level, strategy = (6, _DEFAULT) if _is_flat(bare) else (1, _RUN_LENGTHS)
    return _saved(bare, "PNG", compress_level=level, compress_type=strategy)


_DEFAULT, _RUN_LENGTHS = 0, 3  # zlib.h: Z_DEFAULT_STRATEGY, Z_RLE


def _is_flat(image: Image.Image) -> bool:
    rows = np.asarray(image)[:: min(16, 1 + image.height // 64)].astype(np.uint32)
    colours = rows[..., 0] << 16 | rows[..., 1] << 8 | rows[..., 2]
    repeats = np.count_nonzero(colours[:, 1:] == colours[:, :-1])
    return bool(repeats > _REPEATS * colours.size or len(np.unique(colours)) < _COLOURS * colours.size)


def jpeg(image: Image.Image, quality: int = 90) -> bytes:
    """Baseline, not progressive; full colour resolution (4:4:4), for drawn edges fringe without it."""
    return _saved(_bare(image), "JPEG", quality=quality, subsampling=0, progressive=False, optimize=False)


def thumbnail(image: Image.Image, long_side: int) -> bytes:
    """A WebP of at most `long_side` pixels a side, never enlarged."""
    small = _bare(image)
    small.thumbnail((long_side, long_side), Image.Resampling.LANCZOS, reducing_gap=3.0)
    return _saved(small, "WEBP", quality=80, method=2)


def _bare(image: Image.Image) -> Image.Image:
    """A copy without `info`, from which Pillow would write profiles, comments and transparent colours."""
    if image.mode != "RGB":
        raise ValueError(f"a finished frame is RGB, not {image.mode}")
    bare = image.copy()
    bare.info = {}
    return bare


def _saved(image: Image.Image, format: str, **how: object) -> bytes:
    file = io.BytesIO()
    image.save(file, format, **how)
    return file.getvalue()
