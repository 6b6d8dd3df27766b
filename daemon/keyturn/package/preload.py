"""All that a worker needs, imported once before workers are forked from it (`workers.process_start`).

A forked worker starts sooner and shares the memory of what was imported. Nothing here may start a thread, for a fork
takes no threads along.
"""

from __future__ import annotations

import gc

import blake3
import pebble.pool.process
from PIL import Image, WebPImagePlugin

from keyturn.package import frame
from keyturn.shop import fast_libraries
from keyturn.shop.reasons import Reason
from keyturn.workers import worker_limits

__all__ = [
    "WebPImagePlugin",
    "blake3",
    "frame",
    "pebble",
    "worker_limits",
]
# Pillow would load all its formats to write the first WebP thumbnail, were its WebP plugin not imported here.

for _name in (fast_libraries.DEFLATE, fast_libraries.RESIZE, fast_libraries.DECODE):
    fast_libraries.library(_name)
Image.preinit()
Reason.model_rebuild()  # else each worker that gives a reason builds the model anew
gc.freeze()  # a collection in a worker would write to every page it shares (gc's own advice for forks)
