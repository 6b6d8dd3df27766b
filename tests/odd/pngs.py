"""Odd PNG files, by the letter of the specification (third edition, W3C): every colour type, depth and chunk."""

from __future__ import annotations

import itertools
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from odd import light
from odd.marker import ALPHA, BITS, COLOURS, GREYS, Odd, exif, shown, spread, stored

SIGNATURE = b"\x89PNG\r\n\x1a\n"
KINDS = [(0, 1), (0, 2), (0, 4), (0, 8), (0, 16), (2, 8), (2, 16), (3, 1), (3, 2), (3, 4), (3, 8)]
KINDS += [(4, 8), (4, 16), (6, 8), (6, 16)]
_ADAM7 = [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)]
_PALETTE = np.concatenate([COLOURS.reshape(-1, 3), [[9, 9, 9]] * 4]).astype(np.uint8)


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


@dataclass(frozen=True)
class Art:
    """`samples` (ROWS, COLS, channels) as the file holds them, and how they look."""

    colour: int
    bits: int
    samples: NDArray[Any]
    looks: NDArray[np.float64]
    before: bytes = b""


def art(colour: int, bits: int, *, keyed: bool = False) -> Art:
    """The scene in a colour type and depth; `keyed` adds tRNS."""
    if colour == 3:
        return _indexed(bits, keyed)
    most = 2**bits - 1
    base = COLOURS if colour & 2 else (BITS * 255 if bits == 1 else GREYS)[..., None]
    samples = np.round(base.astype(float) * most / 255).astype(int)
    looks, alpha = samples * 255.0 / most, None
    before = b""
    if colour & 4:
        alpha = ALPHA
        samples = np.concatenate([samples, np.round(ALPHA[..., None] * (most / 255)).astype(int)], -1)
    elif keyed:
        key = samples[1, 1]
        alpha = np.where((samples == key).all(-1), 0, 255)
        before = chunk(b"tRNS", key.astype(">u2").tobytes())
    return Art(colour, bits, samples, shown(looks if colour & 2 else looks[..., 0], alpha), before)


def _indexed(bits: int, keyed: bool) -> Art:
    indices = {1: BITS, 2: GREYS // 64}.get(bits, np.arange(12).reshape(4, 3))
    palette = _PALETTE[: 2 ** min(bits, 4)]
    before = chunk(b"PLTE", palette.tobytes())
    alpha = None
    if keyed:
        table = np.array([255, 90, 0, 255, 128][: len(palette)])
        alpha = np.append(table, [255] * 16)[indices]
        before += chunk(b"tRNS", bytes(table.tolist()))
    return Art(3, bits, indices[..., None], shown(palette[indices], alpha), before)


def _filtered(rows: NDArray[np.uint8], step: int, kind: int) -> bytes:
    """Rows (H, bytes) filtered one by one with `kind`, or with each in turn where it is 5 (PNG, clause 9)."""
    raw = rows.astype(int)
    left = np.pad(raw, ((0, 0), (step, 0)))[:, : raw.shape[1]]
    up = np.pad(raw, ((1, 0), (0, 0)))[:-1]
    corner = np.pad(up, ((0, 0), (step, 0)))[:, : raw.shape[1]]
    guess = left + up - corner
    near = [abs(guess - side) for side in (left, up, corner)]
    paeth = np.where((near[0] <= near[1]) & (near[0] <= near[2]), left, np.where(near[1] <= near[2], up, corner))
    ways = [raw, raw - left, raw - up, raw - (left + up) // 2, raw - paeth]
    kinds = [number % 5 if kind == 5 else kind for number in range(len(raw))]
    return b"".join(bytes([k]) + (ways[k][i] & 255).astype(np.uint8).tobytes() for i, k in enumerate(kinds))


def _rows(samples: NDArray[Any], bits: int) -> NDArray[np.uint8]:
    flat = samples.reshape(len(samples), -1)
    if bits == 16:
        return np.ascontiguousarray(flat.astype(">u2")).view(np.uint8)
    if bits == 8:
        return flat.astype(np.uint8)
    return np.packbits((flat[..., None] >> np.arange(bits - 1, -1, -1) & 1).reshape(len(flat), -1), axis=1)


def stream(samples: NDArray[Any], bits: int, *, laced: bool = False, filters: int = 0, level: int = 6) -> bytes:
    step = max(1, samples.shape[2] * bits // 8)
    passes = [(0, 0, 1, 1)] if not laced else _ADAM7
    parts = [samples[y::dy, x::dx] for x, y, dx, dy in passes]
    data = b"".join(_filtered(_rows(part, bits), step, filters) for part in parts if part.size)
    return zlib.compress(data, level)


def file(
    made: Art, size: tuple[int, int], *, turn: int = 1, laced: bool = False, filters: int = 5, piece: int = 0,
    extra: bytes = b"", after: bytes = b"", level: int = 6, first: bytes = b"",
) -> bytes:  # fmt: skip
    """`first` goes before PLTE, `extra` after tRNS, `after` behind the pixels; IDAT in pieces of `piece` bytes."""
    pixels = stored(spread(made.samples, size), turn)
    header = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], made.bits, made.colour, 0, 0, int(laced))
    data = stream(pixels, made.bits, laced=laced, filters=filters, level=level)
    pieces = [data[i : i + piece] for i in range(0, len(data), piece)] if piece else [data]
    body = b"".join(chunk(b"IDAT", part) for part in pieces)
    return SIGNATURE + chunk(b"IHDR", header) + first + made.before + extra + body + after + chunk(b"IEND", b"")


def _said(gamma: int = 45455, primaries: str = "srgb") -> bytes:
    *corners, white = light.PRIMARIES[primaries]
    points = [round(v * 100_000) for point in (white, *corners) for v in point]
    return chunk(b"gAMA", struct.pack(">I", gamma)) + chunk(b"cHRM", struct.pack(">8I", *points))


def icc(profile: bytes) -> bytes:
    return chunk(b"iCCP", b"odd\0\0" + zlib.compress(profile))


HARMLESS = {
    "srgb": chunk(b"sRGB", b"\0"),
    "gama": chunk(b"gAMA", struct.pack(">I", 45455)),
    "said": _said(),
    "cicp": chunk(b"cICP", bytes([1, 13, 0, 1])),
    "oblong": chunk(b"pHYs", struct.pack(">IIB", 2000, 1000, 0)),
    "text": chunk(b"tEXt", b"Title\0Fern Hollow") + chunk(b"zTXt", b"Note\0\0" + zlib.compress(b"lamps" * 50)),
    "itxt": chunk(b"iTXt", b"Note\0\0\0en\0\0" + "Fern Hollow — fünf".encode()),
    "time": chunk(b"tIME", struct.pack(">HBBBBB", 2026, 3, 1, 9, 30, 0)),
    "private": chunk(b"kEYt", b"x" * 33),
    "badicc": icc(b"no profile at all"),
    "badexif": chunk(b"eXIf", b"II*\0\xff\xff\xff\xff"),
    "sRGBtwice": chunk(b"sRGB", b"\0") + _said(),
}
"""Chunks that must change nothing."""


def files() -> Iterator[Odd]:
    for number, ((colour, bits), laced) in enumerate(itertools.product(KINDS, (False, True))):
        size = (48 + 3 * (number % 7), 64 + 4 * (number % 7))
        tag = f"png-c{colour}b{bits}{'i' if laced else ''}"
        plain = art(colour, bits)
        for kind in range(6):
            yield Odd(f"{tag}-f{kind}", file(plain, size, laced=laced, filters=kind), (plain.looks,))
        if colour not in (4, 6):
            keyed = art(colour, bits, keyed=True)
            yield Odd(f"{tag}-trns", file(keyed, size, laced=laced), (keyed.looks,))
        for name, extra in HARMLESS.items():
            data = file(plain, size, laced=laced, first=extra)
            yield Odd(f"{tag}-{name}", data, (plain.looks,))
        yield Odd(f"{tag}-pieces", file(plain, size, laced=laced, piece=1 + number % 9), (plain.looks,))
        yield Odd(f"{tag}-stored", file(plain, size, laced=laced, level=0, after=HARMLESS["text"]), (plain.looks,))
        if not laced:
            yield from _turned(tag, plain, size)
    for (colour, bits), turn in itertools.product(KINDS, (1, 6)):  # much larger than the panel
        plain = art(colour, bits)
        held = chunk(b"eXIf", exif(turn))
        data = file(plain, (480, 640), turn=turn, extra=held, filters=turn % 5)
        yield Odd(f"png-large-c{colour}b{bits}turn{turn}", data, (plain.looks,))
    yield from _coloured()


def _turned(tag: str, plain: Art, size: tuple[int, int]) -> Iterator[Odd]:
    for turn, order in itertools.product(range(1, 9), ("II", "MM")):
        held = chunk(b"eXIf", exif(turn, order))
        yield Odd(f"{tag}-turn{turn}{order}", file(plain, size, turn=turn, extra=held), (plain.looks,))
    late = file(plain, size, turn=8, after=chunk(b"eXIf", exif(8)))
    yield Odd(f"{tag}-turn8late", late, (plain.looks,))


def _coloured() -> Iterator[Odd]:
    """Files whose values mean other colours than sRGB's."""
    plain = art(2, 8)
    p3 = light.as_srgb(COLOURS, "p3")
    linear = 255 * light.encoded(COLOURS / 255)
    wide = light.as_srgb(COLOURS, "adobe", 1 / 0.45455)
    for laced in (False, True):
        for name, extra, wanted in [
            ("iccp3", icc(light.matrix("p3")), p3),
            ("cicp3", chunk(b"cICP", bytes([12, 13, 0, 1])), p3),
            ("linear", chunk(b"gAMA", struct.pack(">I", 100_000)), linear),
            ("chrm", _said(45455, "adobe"), wide),
            ("srgboverlinear", chunk(b"gAMA", struct.pack(">I", 100_000)) + chunk(b"sRGB", b"\0"), plain.looks),
            ("iccoverlinear", chunk(b"gAMA", struct.pack(">I", 100_000)) + icc(light.matrix("p3")), p3),
        ]:
            data = file(plain, (48, 64), laced=laced, first=extra)
            yield Odd(f"png-said-{name}{'i' if laced else ''}", data, (wanted,), apart=5)
