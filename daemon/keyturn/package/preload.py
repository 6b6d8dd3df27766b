"""All that a worker needs, imported once, by the fork server (`crew` names this module to it).

Importing takes longer than many a small job; a worker that is forked afterwards has it for nothing, and shares
the memory of it. Nothing here may start a thread, for a fork takes none along: libvips starts its own when it
first decodes.
"""

from __future__ import annotations

import gc

import pebble.pool.process
from PIL import Image, WebPImagePlugin

from keyturn.package import frame
from keyturn.shop import fast_libraries
from keyturn.workers import worker_limits

__all__ = [
    "WebPImagePlugin",
    "frame",
    "pebble",
    "worker_limits",
]  # WebP for thumbnails: else Pillow loads all its formats

for _name in (fast_libraries.DEFLATE, fast_libraries.RESIZE, fast_libraries.DECODE):
    fast_libraries.library(_name)
Image.preinit()
gc.freeze()  # a collection in a worker would write to every page it shares (gc's own advice for forks)
