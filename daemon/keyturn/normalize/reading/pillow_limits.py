"""Pillow within the shop's limits: a block that sets its pixel limit, and turns its complaints into reasons."""

from __future__ import annotations

import errno
import os
import re
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from PIL import Image, PngImagePlugin

from keyturn.normalize.reading import picture_faults
from keyturn.normalize.reading.file_reasons import about
from keyturn.shop.reasons import Reason, Refused, ShopFault

PngImagePlugin.MAX_TEXT_CHUNK = 16 * 2**20
"""Most unpacked bytes of one profile or text. With Pillow's 1 MiB, a sound PNG with a printer's profile is broken."""

_GARBAGE_ERRNO = (None, errno.EINVAL, errno.EOVERFLOW)
"""Error numbers that are the file's fault: a decoder followed a garbled offset. All others are the disk's fault."""

_one_at_a_time = threading.RLock()
"""Held while Pillow's pixel limit or Python's warning filters, which the whole process shares, are changed."""


def _unlocked_in_the_child() -> None:
    global _one_at_a_time
    _one_at_a_time = threading.RLock()


os.register_at_fork(after_in_child=_unlocked_in_the_child)


@contextmanager
def silenced() -> Iterator[None]:
    """Silence warnings in this block, and let one thread at a time into it."""
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@contextmanager
def reading(name: str, most_mpx: float) -> Iterator[None]:
    """Read the file `name` with Pillow in this block, up to `most_mpx` megapixels.

    Raise `Refused`, with `name` in every reason, for whatever a decoder raises over garbage. A fault of the shop's
    disk comes through as the OSError it is. Pillow's warnings (odd TIFF tags, an APNG that is none) are silenced:
    decoding decides about what they warn of.
    """
    with about(name), silenced(), _pixel_limit(most_mpx):
        try:
            yield
        except (Refused, ShopFault):
            raise
        except Exception as error:  # decoders raise SyntaxError, struct.error, zlib.error, KeyError ...
            if (reason := _reason(error, most_mpx)) is None:
                raise
            raise Refused([reason]) from error


def _reason(error: Exception, most_mpx: float) -> Reason | None:
    """Return what is wrong with the file; None for a fault of the disk."""
    if isinstance(error, (Image.DecompressionBombError, Image.DecompressionBombWarning)):
        pixels = re.search(r"\d+", str(error))
        return picture_faults.too_large(int(pixels[0]) / 1e6 if pixels else 0, most_mpx)
    if isinstance(error, MemoryError):
        return picture_faults.too_large(0, most_mpx)
    if isinstance(error, OSError) and error.errno not in _GARBAGE_ERRNO:
        return None
    return picture_faults.broken(str(error)) if isinstance(error, picture_faults.Broken) else picture_faults.broken()


@contextmanager
def _pixel_limit(most_mpx: float) -> Iterator[None]:
    """Set Pillow's limit in this block, and make Pillow raise beyond it."""
    warnings.simplefilter("error", Image.DecompressionBombWarning)
    before, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, int(most_mpx * 1e6)
    try:
        yield
    finally:
        Image.MAX_IMAGE_PIXELS = before
