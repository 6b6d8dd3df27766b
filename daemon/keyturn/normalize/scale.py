"""Resizing by Lanczos with three lobes: by cykooz.resizer where it is installed, else by Pillow."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

from PIL import Image

from keyturn.shop import fast_libraries

LOBES = 3
"""Source pixels that the kernel sinc(x) sinc(x / 3) reaches each way; more by the factor of a reduction."""

Corners = tuple[float, float, float, float]
"""left, top, right, bottom in source pixels."""


def lanczos(image: Image.Image, size: tuple[int, int], crop: Corners) -> Image.Image:
    """Return the part `crop` of an RGB picture as `size` (width, height) pixels.

    Pixels beyond the crop's edges take part where the kernel reaches them. The two libraries round and clip in
    different orders: where no ringing is clipped their results differ by at most 2 of 255, beside hard edges by a few
    per cent of the edge. Pillow's reductions beyond six times start with a box average (its reducing gap of 3), which
    cannot be told from the full filter. Raise ValueError where the mode is not RGB.
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
    """Return one resizer for all pictures: it keeps its working memory."""
    return library.Resizer()


def needed(source_size: tuple[int, int], size: tuple[int, int], crop: Corners) -> tuple[int, int, int, int]:
    """Return the box of whole source pixels that resizing `crop` to `size` reads: the crop and the kernel's reach."""
    reach = [LOBES * max(1.0, (crop[i + 2] - crop[i]) / size[i]) + 1 for i in (0, 1)]
    low = [max(0, math.floor(crop[i] - reach[i])) for i in (0, 1)]
    high = [min(source_size[i], math.ceil(crop[i + 2] + reach[i])) for i in (0, 1)]
    return low[0], low[1], high[0], high[1]
