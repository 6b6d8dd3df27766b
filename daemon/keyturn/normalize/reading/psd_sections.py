"""The sections of a layered drawing: PSD, and PSB, whose lengths are twice as wide.

Source: the PSD file format specification (file header, image resources, layer and mask information, image data).
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize.reading.picture_faults import Broken

_RAW, _RUN_LENGTHS = 0, 1
_MOST_RESOURCES, _MOST_BLOCKS = 4096, 4096
_WIDE_KEYS = {
    b"LMsk",
    b"Lr16",
    b"Lr32",
    b"Layr",
    b"Mt16",
    b"Mt32",
    b"Mtrn",
    b"Alph",
    b"FMsk",
    b"lnk2",
    b"FEid",
    b"FXid",
}
"""Blocks whose length takes eight bytes in a PSB."""


@dataclass(frozen=True, slots=True)
class PsdHeader:
    large: bool
    channels: int
    size: tuple[int, int]
    bits: int
    mode: int


@dataclass(frozen=True, slots=True)
class Sections:
    """`layers` is the layer count as stored: 0 without layers, negative where the flattened picture is see-through.

    `picture_at` is the offset of the flattened picture, `palette` the colours of an indexed one.
    """

    header: PsdHeader
    palette: bytes
    resources: dict[int, bytes]
    layers: int
    picture_at: int


def read(file: BinaryIO, wanted: tuple[int, ...]) -> Sections:
    """Return the file's sections, with the resources of the `wanted` numbers. Raise `Broken` where it breaks off."""
    end = file.seek(0, io.SEEK_END)
    file.seek(0)
    header = _header(_exactly(file, 26))
    palette = _exactly(file, min(_number(file, 4), end))
    stop = _number(file, 4) + file.tell()
    resources = _resources(file, min(stop, end), wanted)
    file.seek(stop)
    length = _number(file, 8 if header.large else 4)
    start = file.tell()
    if start + length > end:
        raise Broken("breaks off")
    return Sections(header, palette, resources, _layer_count(file, header, start + length), start + length)


def _exactly(file: BinaryIO, length: int) -> bytes:
    data = file.read(length)
    if len(data) < length:
        raise Broken("breaks off")
    return data


def _number(file: BinaryIO, length: int) -> int:
    return int.from_bytes(_exactly(file, length), "big")


def _header(start: bytes) -> PsdHeader:
    version, channels, high, wide, bits, mode = struct.unpack(">4xH6xHIIHH", start)
    if version not in (1, 2) or not channels or not wide or not high:
        raise Broken("says nonsense in its header")
    return PsdHeader(version == 2, channels, (wide, high), bits, mode)


def _resources(file: BinaryIO, stop: int, wanted: tuple[int, ...]) -> dict[int, bytes]:
    found: dict[int, bytes] = {}
    for _ in range(_MOST_RESOURCES):
        if file.tell() + 12 > stop:
            break
        _, number, name = struct.unpack(">4sHB", _exactly(file, 7))
        file.seek(name + (1 - name % 2), io.SEEK_CUR)  # the name and its length fill an even number of bytes
        length = _number(file, 4)
        if number in wanted and file.tell() + length <= stop:
            found.setdefault(number, _exactly(file, length))
        else:
            file.seek(length, io.SEEK_CUR)
        file.seek(length % 2, io.SEEK_CUR)
    return found


def _layer_count(file: BinaryIO, header: PsdHeader, stop: int) -> int:
    """Return the layer count; that of deep pictures stands in a block of its own."""
    wide = 8 if header.large else 4
    if file.tell() + wide + 2 > stop:
        return 0
    length = _number(file, wide)
    if length:
        return int(struct.unpack(">h", _exactly(file, 2))[0])
    if file.tell() + 4 > stop:
        return 0
    file.seek(_number(file, 4), io.SEEK_CUR)
    for _ in range(_MOST_BLOCKS):
        if file.tell() + 12 + 2 > stop:
            break
        signature, key = struct.unpack(">4s4s", _exactly(file, 8))
        if signature not in (b"8BIM", b"8B64"):
            break
        length = _number(file, 8 if header.large and key in _WIDE_KEYS else 4)
        if key in (b"Lr16", b"Lr32", b"Layr") and length:
            return int(struct.unpack(">h", _exactly(file, 2))[0])
        file.seek(length + -length % 4, io.SEEK_CUR)
    return 0


def picture(file: BinaryIO, sections: Sections, channels: int) -> NDArray[np.uint8]:
    """Return the first `channels` of the flattened picture in 8 bits, (H, W, channels). Raise `Broken`."""
    wide, high = sections.header.size
    row = wide * sections.header.bits // 8
    file.seek(sections.picture_at)
    packing = _number(file, 2)
    if packing == _RAW:
        data: Any = np.frombuffer(_exactly(file, row * high * channels), np.uint8)
    elif packing == _RUN_LENGTHS:
        data = _unpacked(file, sections, channels, row)
    else:
        raise Broken("is packed in a way that its kind does not know")
    if sections.header.bits == 16:
        data = _rounded(data.view(">u2"))
    return np.moveaxis(data.reshape(channels, high, wide), 0, -1)


def _unpacked(file: BinaryIO, sections: Sections, channels: int, row: int) -> NDArray[np.uint8]:
    """Return the rows unpacked by Pillow's PackBits decoder. A table of their lengths stands before them."""
    header = sections.header
    _, high = header.size
    table = np.frombuffer(
        _exactly(file, high * header.channels * (4 if header.large else 2)), ">u4" if header.large else ">u2"
    )
    packed = _exactly(file, int(table[: high * channels].sum()))
    rows = Image.frombytes("L", (row, high * channels), packed, "packbits", "L")
    return np.asarray(rows).reshape(-1)


def _rounded(wide: NDArray[Any]) -> NDArray[np.uint8]:
    """Return round(v x 255 / 65535), a piece at a time."""
    made = np.empty(len(wide), np.uint8)
    for at in range(0, len(wide), 1 << 20):
        piece = wide[at : at + (1 << 20)].astype(np.uint32)
        made[at : at + (1 << 20)] = (piece * 255 + 32767) // 65535
    return made
