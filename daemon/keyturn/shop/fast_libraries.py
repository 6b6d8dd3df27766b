"""Libraries that make frames sooner. Where one is missing, Pillow, numpy and zlib do the same work.

Each was taken on for what it saves of a 1080p frame's processor time (tests/benchmarks measures it anew):
zlib-ng deflates and checks in half of zlib's time, cykooz.resizer does Pillow's Lanczos in a fifth, and
libspng inside libvips decodes PNG in a third to three fifths.
"""

from __future__ import annotations

import importlib
import os
from functools import lru_cache
from typing import Any

DEFLATE = "zlib_ng.zlib_ng"
RESIZE = "cykooz_resizer"
DECODE = "pyvips"


@lru_cache(maxsize=8)
def library(name: str) -> Any | None:
    """The module called `name`, or None where it or the system library under it cannot be loaded."""
    if name == DECODE:
        # A worker is one of many already: one thread each, and nothing kept, for no picture is read twice.
        os.environ.setdefault("VIPS_CONCURRENCY", "1")
        os.environ.setdefault("VIPS_WARNING", "off")  # whatever it says; Pillow will tell what is wrong
    try:
        module = importlib.import_module(name)
    except (ImportError, OSError):
        return None
    if name == DECODE:
        module.cache_set_max(0)
    return module
