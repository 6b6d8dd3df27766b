"""What a radio's stock logo shows: its format and depth, and of a BMP how it is laid out. Only headers are read.

Source of the BMP layout: Microsoft's definitions of BITMAPFILEHEADER, BITMAPINFOHEADER and BITMAPV4HEADER.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

from keyturn.normalize.reading.headers import header
from keyturn.shop import durable_files
from keyturn.shop.bmp_layout import FILE_HEADER_BYTES, BmpBits, BmpHeader, BmpLayout
from keyturn.shop.radio_profile import LogoFormat
from keyturn.shop.wrong_use import WrongUse

_HEAD_BYTES = 2**18
"""A JPEG may have a colour profile or a camera's notes before its size."""

_BMP_HEADERS: dict[int, tuple[BmpHeader, bool]] = {
    40: ("info", True),
    108: ("v4", True),
    12: ("info", False),
    52: ("info", False),
    56: ("info", False),
    124: ("v4", False),
}
"""By its bytes: the header that Keyturn writes, and whether that is the same one or only the nearest."""

_RGB, _BITFIELDS = 0, 3
_RGB565 = (0xF800, 0x07E0, 0x001F)


@dataclass(frozen=True, slots=True)
class StockLogo:
    """The stock logo. `bmp` is how it is laid out where it is a BMP; `same_header`: Keyturn writes that very header."""

    format: LogoFormat
    size: tuple[int, int]
    file_bytes: int
    palette: bool = False
    bmp: BmpLayout | None = None
    same_header: bool = True


def read_logo(path: Path, most_mib: float) -> StockLogo:
    """Return what the file shows. Raise `WrongUse` where it is no logo that Keyturn can make the like of."""
    if not path.is_file():
        raise WrongUse(f"{path} is not a file", "name the stock logo, or leave --logo out")
    size = path.stat().st_size
    if size > most_mib * 2**20:
        raise WrongUse(f"{path.name} is {size / 2**20:,.0f} MiB", "is this the stock logo? leave --logo out if not")
    head = durable_files.read_start(path.resolve(), _HEAD_BYTES) or b""
    if head.startswith(b"BM"):
        return _bmp(head, size, path.name)
    found = header(head)
    if found is None:
        raise _other(path.name, "is no PNG, JPEG or BMP")
    return StockLogo(found.kind, (found.width, found.height), size, palette=found.palette)


def _bmp(head: bytes, file_bytes: int, name: str) -> StockLogo:
    if len(head) < FILE_HEADER_BYTES + 12:
        raise _other(name, "breaks off in its header")
    (length,) = struct.unpack_from("<I", head, FILE_HEADER_BYTES)
    if length not in _BMP_HEADERS or len(head) < FILE_HEADER_BYTES + length:
        raise _other(name, f"is a BMP with a header of {length} bytes")
    if length == 12:  # BITMAPCOREHEADER
        width, height, _, bits = struct.unpack_from("<HHHH", head, FILE_HEADER_BYTES + 4)
        compression, masks = _RGB, ()
    else:
        width, height, _, bits, compression = struct.unpack_from("<iiHHI", head, FILE_HEADER_BYTES + 4)
        masks = struct.unpack_from("<3I", head.ljust(66, b"\0"), FILE_HEADER_BYTES + 40)
    if width <= 0 or height == 0:
        raise _other(name, f"is a BMP of {width} x {abs(height)} pixels")
    kind, same = _BMP_HEADERS[length]
    layout = BmpLayout(_bits(bits, compression, masks, name), height < 0, kind, file_bytes)
    return StockLogo("bmp", (width, abs(height)), file_bytes, bmp=layout, same_header=same)


def _bits(bits: int, compression: int, masks: tuple[int, ...], name: str) -> BmpBits:
    if (bits, compression) == (24, _RGB):
        return 24
    if (bits, compression, masks) == (16, _BITFIELDS, _RGB565):
        return 16
    kind = {_RGB: "without masks", _BITFIELDS: "with masks of its own"}.get(compression, "compressed")
    raise _other(name, f"is a BMP of {bits} bits {kind}; Keyturn writes 24 bits, and 16 as RGB565")


def _other(name: str, what: str) -> WrongUse:
    return WrongUse(f"{name} {what}", "leave --logo out, and write [logo] by hand once a stick has shown what it takes")
