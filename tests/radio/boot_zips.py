"""Boot animations byte by byte: zips with any entries, pictures that are little more than their header."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class File:
    name: bytes
    data: bytes = b""
    deflated: bool = False


def zip_of(files: Iterable[File], before: bytes = b"") -> bytes:
    """Lay out a zip by APPNOTE 4.3.7, 4.3.12 and 4.3.16, in the given order, doubled names and all."""
    body, central, count = before, b"", 0
    for file in files:
        data = zlib.compress(file.data, wbits=-15) if file.deflated else file.data
        sizes = zlib.crc32(file.data), len(data), len(file.data), len(file.name), 0
        common = struct.pack("<5H3I2H", 10, 0, 8 if file.deflated else 0, 0, 33, *sizes)
        central += b"PK\1\2" + struct.pack("<H", 10) + common + struct.pack("<3H2I", 0, 0, 0, 0, len(body)) + file.name
        body += b"PK\3\4" + common + file.name + data
        count += 1
    end = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, count, count, len(central), len(body), 0)
    return body + central + end


def png(width: int, height: int, *, bits: int = 8, colour: int = 2, see_through: bool = False, seed: int = 0) -> bytes:
    """A PNG whose header says all that is asked; its picture data is one chunk of nothing."""
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0))]
    if see_through:
        chunks.append((b"tRNS", b"\0" * 6))
    chunks += [(b"IDAT", zlib.compress(seed.to_bytes(4, "big"))), (b"IEND", b"")]
    made = [struct.pack(">I", len(d)) + k + d + struct.pack(">I", zlib.crc32(k + d)) for k, d in chunks]
    return b"\x89PNG\r\n\x1a\n" + b"".join(made)


def part(folder: str, frames: int, width: int = 768, height: int = 1024, **look: object) -> list[File]:
    picture = png(width, height, **look)  # type: ignore[arg-type]
    return [File(f"{folder}/{n:04}.png".encode(), picture) for n in range(1, frames + 1)]


def animation(desc: str | bytes, *parts: list[File]) -> bytes:
    text = desc.encode() if isinstance(desc, str) else desc
    return zip_of([File(b"desc.txt", text), *(file for files in parts for file in files)])
