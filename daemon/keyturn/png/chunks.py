"""A PNG file as a row of chunks: each is a length, a type, the content and a checksum.

Source: PNG specification, third edition (W3C), 5.2 (signature) and 5.3 (chunk layout).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

from keyturn.png import deflate

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_LEAD = struct.Struct(">I4s")


class Chunk(NamedTuple):
    """`start` is the content's offset in the file, `length` its bytes as the file states them."""

    kind: bytes
    start: int
    length: int

    @property
    def stop(self) -> int:
        """Offset behind the content, where four bytes of checksum follow."""
        return self.start + self.length

    @property
    def end(self) -> int:
        """Offset behind the checksum, where the next chunk begins."""
        return self.start + self.length + 4


def walk(file: BinaryIO) -> Iterator[Chunk]:
    """Yield the chunks of the PNG in `file`, also those behind IEND.

    At each chunk `file` stands at the content's start; the caller may move it. The walk ends where no whole length
    and type follow. It checks nothing: the content may reach beyond the file's end, and the checksum may be wrong.
    """
    at = len(PNG_SIGNATURE)
    while True:
        file.seek(at)
        lead = file.read(8)
        if len(lead) < 8:
            return
        length, kind = _LEAD.unpack(lead)
        yield Chunk(kind, at + 8, length)
        at += length + 12


def written(kind: bytes, content: bytes) -> bytes:
    """Return the chunk as it stands in a file."""
    check = deflate.crc32(content, deflate.crc32(kind))
    return b"".join((struct.pack(">I", len(content)), kind, content, struct.pack(">I", check)))
