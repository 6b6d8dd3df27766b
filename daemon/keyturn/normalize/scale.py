"""Lanczos, with windows of three lobes: by cykooz.resizer where it is there, else by Pillow."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

from PIL import Image

from keyturn.shop import fast_libraries

LOBES = 3
"""Of the kernel sinc(x) sinc(x / 3), widened when shrinking."""

Corners = tuple[float, float, float, float]
"""left, top, right, bottom in source pixels."""


def lanczos(image: Image.Image, size: tuple[int, int], crop: Corners) -> Image.Image:
    """RGB pixels within `crop`, its edges weighed with what lies beyond them, as `size` pixels.

    The two libraries round and clip in another order: on pictures in which no ringing is clipped they are
    apart by at most 2 of 255, and beside hard edges by a few per cent of the edge. Pillow's reductions beyond
    six times start with a box average (its reducing gap of 3), which cannot be told from the full filter.
    """
    if image.mode != "RGB":
        raise ValueError(f"only RGB is resized here, not {image.mode}")
    library = fast_libraries.library(fast_libraries.RESIZE)
    if library is None:
        return image.resize(size, Image.Resampling.LANCZOS, crop, reducing_gap=3.0)
    made = Image.new("RGB", size)
    left, top, right, bottom = crop
    options = library.ResizeOptions(
        library.ResizeAlg.convolution(library.FilterType.lanczos3),
        crop_box=library.CropBox(left, top, right - left, bottom - top),
    )
    _resizer(library).resize_pil(image, made, options)
    return made


@lru_cache(maxsize=1)
def _resizer(library: Any) -> Any:
    """It keeps its working memory from picture to picture."""
    return library.Resizer()


def needed(source_size: tuple[int, int], size: tuple[int, int], crop: Corners) -> tuple[int, int, int, int]:
    """Whole pixels of the source that have a say in `crop` made `size`: the crop and the kernel's reach."""
    reach = [LOBES * max(1.0, (crop[i + 2] - crop[i]) / size[i]) + 1 for i in (0, 1)]
    low = [max(0, math.floor(crop[i] - reach[i])) for i in (0, 1)]
    high = [min(source_size[i], math.ceil(crop[i + 2] + reach[i])) for i in (0, 1)]
    return low[0], low[1], high[0], high[1]
