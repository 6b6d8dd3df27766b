"""Libraries that make frames faster. Where one is missing, Pillow, numpy and zlib do the same work.

Processor time for a 1080p frame, as tests/benchmarks measures it: zlib-ng deflates and checks in half of zlib's
time, cykooz.resizer resizes (Lanczos) in a fifth of Pillow's, and kornia-rs decodes PNG in a third of Pillow's.
libvips reads the few TIFF and AVIF files that Pillow does not; it is loaded when such a file comes.
"""

from __future__ import annotations

import importlib
import os
from functools import lru_cache
from typing import Any

DEFLATE = "zlib_ng.zlib_ng"
RESIZE = "cykooz_resizer"
DECODE = "kornia_rs"
READ_MORE = "pyvips"


@lru_cache(maxsize=8)
def library(name: str) -> Any | None:
    """Return the module called `name`, or None where it, or the system library it needs, cannot be loaded."""
    if name == READ_MORE:
        # There is a worker for each core already, so libvips gets one thread. Its cache holds nothing, because no
        # picture is read twice.
        os.environ.setdefault("VIPS_CONCURRENCY", "1")
        os.environ.setdefault("VIPS_WARNING", "off")  # Pillow reads the picture again and says what is wrong
    try:
        module = importlib.import_module(name)
    except (ImportError, OSError):
        return None
    if name == READ_MORE:
        module.cache_set_max(0)
    return module
