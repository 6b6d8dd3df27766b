"""Deflate streams in zlib's format (RFC 1950, RFC 1951): by zlib-ng where it is installed, else by zlib."""

from __future__ import annotations

import zlib
from typing import Any

from keyturn.shop import fast_libraries

_WINDOW_BITS, _MOST_MEMORY = 15, 9


def of_grain(data: Any) -> bytes:
    """Return `data` compressed by run lengths and Huffman codes only: quick, and good for grainy pictures.

    zlib and zlib-ng give the same bytes, at any level.
    """
    return _deflated(data, 1, zlib.Z_RLE)


def of_repeats(data: Any) -> bytes:
    """Return `data` compressed at the usual level, which finds repeated stretches."""
    return _deflated(data, 6, zlib.Z_DEFAULT_STRATEGY)


def of_hardest(data: Any) -> bytes:
    """Return `data` compressed at the highest level, however long it takes."""
    return _deflated(data, 9, zlib.Z_DEFAULT_STRATEGY)


def crc32(data: Any, start: int = 0) -> int:
    """Return the CRC-32 of PNG and ZIP; `start` is that of the data before."""
    return int(_library().crc32(data, start))


def inflated(data: bytes, length: int) -> bytes | None:
    """Return the stream's content; None where it is damaged, broken off or not exactly `length` bytes long.

    At most `length` + 1 bytes are decompressed, however large the content is.
    """
    worker = _library().decompressobj()
    try:
        made: bytes = worker.decompress(data, length + 1)
    except (zlib.error, _library().error):
        return None
    return made if len(made) == length and worker.eof and not worker.unused_data else None


def _deflated(data: Any, level: int, strategy: int) -> bytes:
    worker = _library().compressobj(level, zlib.DEFLATED, _WINDOW_BITS, _MOST_MEMORY, strategy)
    made: bytes = worker.compress(data) + worker.flush()
    return made


def _library() -> Any:
    return fast_libraries.library(fast_libraries.DEFLATE) or zlib
