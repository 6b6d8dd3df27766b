"""The cels of a clip: a GIF, an APNG or a WebP walked from block to block, with no pixel decoded.

A walk is cheap and safe enough for the service itself; decoding is left to the workers. It also finds
what Pillow's own frame count hides: a tail that breaks off, pictures outside the animation, odd delays.
Sources: GIF89a specification (CompuServe, 1990); PNG specification, third edition (W3C), for APNG; RFC 9649
for WebP.
"""

from __future__ import annotations

import io
import itertools
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import BinaryIO, Literal

from keyturn.normalize.reading.picture_faults import Broken
from keyturn.png import chunks
from keyturn.png.chunks import PNG_SIGNATURE, Chunk

Dispose = Literal["keep", "clear", "restore"]
Span = tuple[int, int]
"""Offset and length in the file."""

MOST_BLOCKS = 4_000_000
"""Of one file, so that a gigabyte of empty blocks cannot hold up the service. A 200 MiB GIF has fewer."""

_SHARED = (b"PLTE", b"tRNS", b"iCCP", b"cICP", b"sRGB", b"gAMA", b"cHRM")
_GIF_DISPOSE: dict[int, Dispose] = {2: "clear", 3: "restore"}
_APNG_DISPOSE: dict[int, Dispose] = {1: "clear", 2: "restore"}


@dataclass(frozen=True, slots=True)
class Cel:
    """One frame as it is stored. `box` is x, y, width, height on the canvas; `data` its spans in the file.

    `over`: laid over what is there, else it replaces it. `dispose`: what becomes of it afterwards.
    """

    box: tuple[int, int, int, int]
    delay_ms: float
    dispose: Dispose = "keep"
    over: bool = True
    head: bytes = b""
    data: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class ClipStructure:
    """A file's structure. `cels` is empty for a still; `bits` are those of one sample."""

    format: str
    size: tuple[int, int]
    cels: tuple[Cel, ...] = ()
    bits: int = 8
    exif: bytes = b""
    shared: bytes = b""


def walk(file: BinaryIO, format: str, most_cels: int) -> ClipStructure | None:
    """The structure of `file`, or None for a format without any worth walking. Raises `Broken`.

    Counting stops one cel beyond `most_cels`.
    """
    walker = {"GIF": _gif, "PNG": _png, "WEBP": _webp}.get(format)
    file.seek(0)
    return walker(file, most_cels) if walker else None


def shown_ms(cels: Sequence[Cel]) -> tuple[int, ...]:
    """How long each cel is shown, in whole milliseconds that do not drift from the exact sum.

    Delays of 10 ms and less count as 100 ms, as browsers do (common practice; FFmpeg's GIF reader
    documents the same rule as its defaults min_gif_delay 2 and default_delay 10, in hundredths of a second).
    """
    exact = (cel.delay_ms if cel.delay_ms > 10 else 100 for cel in cels)
    ends = [0, *(round(end) for end in itertools.accumulate(exact))]
    return tuple(after - before for before, after in itertools.pairwise(ends))


def alone(file: BinaryIO, structure: ClipStructure, cel: Cel) -> bytes:
    """A GIF or PNG file that holds this one cel at its own size, for any decoder of stills."""
    parts = [_read_at(file, span) for span in cel.data]
    if structure.format == "GIF":
        return cel.head + b"".join(parts) + b";"
    return cel.head + structure.shared + chunks.written(b"IDAT", b"".join(parts)) + chunks.written(b"IEND", b"")


# -- reading ----------------------------------------------------------------------------------------


def _exactly(file: BinaryIO, length: int) -> bytes:
    data = file.read(length)
    if len(data) < length:
        raise Broken("breaks off")
    return data


def _read_at(file: BinaryIO, span: Span) -> bytes:
    file.seek(span[0])
    return _exactly(file, span[1])


def _broken_after(whole: int) -> Broken:
    return Broken(f"breaks off after {whole} whole frames" if whole else "breaks off")


# -- GIF --------------------------------------------------------------------------------------------


def _gif(file: BinaryIO, most_cels: int) -> ClipStructure:
    screen = _exactly(file, 13)
    width, height, flags = struct.unpack("<HHB", screen[6:11])
    palette = _exactly(file, 3 << (flags & 7) + 1) if flags & 0x80 else b""
    cels: list[Cel] = []
    try:
        for cel in _gif_cels(file, flags, palette):
            cels.append(cel)
            if len(cels) > most_cels:
                break
    except Broken:
        raise _broken_after(len(cels)) from None
    if cels:  # some writers leave the screen at nought: it grows to the first picture, as in browsers
        x, y, w, h = cels[0].box
        width, height = max(width, x + w), max(height, y + h)
    return ClipStructure("GIF", (width, height), tuple(cels))


def _gif_cels(file: BinaryIO, flags: int, palette: bytes) -> Iterator[Cel]:
    control = bytes(4)
    for _ in range(MOST_BLOCKS):
        mark = file.read(1)
        if mark == b"!":
            label = _exactly(file, 1)
            block = _sub_block(file)
            if label == b"\xf9" and len(block) >= 4:
                control = block[:4]
            while block:
                block = _sub_block(file)
        elif mark == b",":
            yield _gif_cel(file, flags, palette, control)
            control = bytes(4)
        elif mark != b"\0":  # the trailer, the end, or litter behind the last picture
            return
    raise Broken("is cut into more blocks than any clip needs")


def _gif_cel(file: BinaryIO, flags: int, palette: bytes, control: bytes) -> Cel:
    x, y, w, h, own = struct.unpack("<HHHHB", _exactly(file, 9))
    start = file.tell()
    file.seek((3 << (own & 7) + 1) if own & 0x80 else 0, io.SEEK_CUR)
    _exactly(file, 1)  # LZW code size
    while _sub_block(file):
        pass
    head = b"GIF89a" + struct.pack("<HHBBB", w, h, flags, 0, 0) + palette
    head += b"!\xf9\x04" + bytes([control[0] & 1, 0, 0, control[3], 0])
    head += b"," + struct.pack("<HHHHB", 0, 0, w, h, own)
    return Cel(
        box=(x, y, w, h),
        delay_ms=10 * struct.unpack("<H", control[1:3])[0],
        dispose=_GIF_DISPOSE.get(control[0] >> 2 & 7, "keep"),
        over=bool(control[0] & 1),  # without a transparent colour it replaces what it covers
        head=head,
        data=((start, file.tell() - start),),
    )


def _sub_block(file: BinaryIO) -> bytes:
    return _exactly(file, _exactly(file, 1)[0])


# -- PNG --------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Apng:
    """What a walk through the chunks gathers."""

    header: bytes = b""
    shared: bytes = b""
    exif: bytes = b""
    animated: bool = False
    pictures: int = 0
    controls: list[bytes] = field(default_factory=list)
    spans: list[list[Span]] = field(default_factory=list)


def _png(file: BinaryIO, most_cels: int) -> ClipStructure:
    found = _Apng()
    try:
        for chunk in _png_chunks(file):
            _take_chunk(found, file, chunk)
            if len(found.controls) > most_cels:
                break
    except Broken:
        raise _broken_after(sum(map(bool, found.spans[:-1]))) from None
    if len(found.header) < 13:
        raise Broken("has no header")
    width, height, bits = struct.unpack(">IIB", found.header[:9])
    cels = tuple(_apng_cel(found, i) for i, spans in enumerate(found.spans) if spans) if found.animated else ()
    return ClipStructure("PNG", (width, height), cels, bits, found.exif, found.shared)


def _png_chunks(file: BinaryIO) -> Iterator[Chunk]:
    """Yield the whole chunks before IEND. Raise `Broken` where one is not whole or there are too many.

    A file without IEND passes: the decoder decides whether its picture is whole.
    """
    end = file.seek(0, io.SEEK_END)
    walked = len(PNG_SIGNATURE)
    for number, chunk in enumerate(chunks.walk(file), 1):
        walked = chunk.end
        if walked > end:
            raise Broken("breaks off")
        if chunk.kind == b"IEND":
            return
        yield chunk
        if number == MOST_BLOCKS:
            raise Broken("is cut into more blocks than any picture needs")
    if walked < end:
        raise Broken("breaks off")


def _take_chunk(found: _Apng, file: BinaryIO, chunk: Chunk) -> None:
    kind, offset, length = chunk
    if kind in (b"IDAT", b"fdAT"):
        found.pictures += 1
        if found.spans:  # an IDAT before the first fcTL is the still for viewers that know no APNG
            skip = 4 if kind == b"fdAT" else 0
            found.spans[-1].append((offset + skip, length - skip))
    elif kind == b"acTL":
        found.animated = not found.pictures
    elif kind == b"fcTL":
        found.controls.append(_checked(file, chunk))
        found.spans.append([])
    elif kind == b"IHDR":
        found.header = _read_at(file, (offset, length))
    elif kind == b"eXIf":
        found.exif = b"Exif\0\0" + _read_at(file, (offset, length))
    elif kind in _SHARED and not found.pictures:
        found.shared += chunks.written(kind, _read_at(file, (offset, length)))


def _checked(file: BinaryIO, chunk: Chunk) -> bytes:
    data = _read_at(file, (chunk.start, chunk.length))
    if chunk.length != 26 or zlib.crc32(chunk.kind + data) != int.from_bytes(_exactly(file, 4), "big"):
        raise Broken("has a damaged frame")
    return data


def _apng_cel(found: _Apng, index: int) -> Cel:
    _, w, h, x, y, num, den, dispose, blend = struct.unpack(">IIIIIHHBB", found.controls[index])
    return Cel(
        box=(x, y, w, h),
        delay_ms=1000 * num / (den or 100),  # a denominator of 0 means hundredths
        dispose=_APNG_DISPOSE.get(dispose, "keep"),
        over=blend == 1,
        head=PNG_SIGNATURE + chunks.written(b"IHDR", struct.pack(">II", w, h) + found.header[8:13]),
        data=tuple(found.spans[index]),
    )


# -- WebP -------------------------------------------------------------------------------------------


def _webp(file: BinaryIO, most_cels: int) -> ClipStructure:
    """Boxes and delays only: libwebp lays the frames over each other itself."""
    end = file.seek(0, io.SEEK_END)
    file.seek(4)
    stop = 8 + int.from_bytes(_exactly(file, 4), "little")
    size = (0, 0)
    cels: list[Cel] = []
    at = 12
    while at + 8 <= min(stop, end) and len(cels) <= most_cels:
        lead = _read_at(file, (at, 8))
        if lead[:4] == b"VP8X":
            about = _exactly(file, 10)
            size = _u24(about, 4) + 1, _u24(about, 7) + 1
        elif lead[:4] == b"ANMF":
            about = _exactly(file, 16)
            box = (2 * _u24(about, 0), 2 * _u24(about, 3), _u24(about, 6) + 1, _u24(about, 9) + 1)
            cels.append(Cel(box, _u24(about, 12)))
        length = int.from_bytes(lead[4:], "little")
        at += 8 + length + (length & 1)
    if stop > end or at > stop + 1:
        raise _broken_after(max(0, len(cels) - 1))
    return ClipStructure("WEBP", size, tuple(cels))


def _u24(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 3], "little")
