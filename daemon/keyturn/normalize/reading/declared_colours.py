"""Colours that a PNG declares in a few numbers (cICP, gAMA, cHRM), as an ICC profile of the same meaning.

Sources: PNG specification, third edition (W3C): 11.3.2 for the chunks, 12.1 and 13.13 for how they bind; ITU-T H.273,
tables 2 and 3, for cICP's numbers; ICC.1, 9.2 and annex E, for the profile; IEC 61966-2-1 for sRGB's curve; ITU-R
BT.2100 for PQ and HLG, and BT.2408 for the level of their paper white. Brighter light, which radios
cannot show, is cut off.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from itertools import islice
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from keyturn.png import chunks

F64 = NDArray[np.float64]
Point = tuple[float, float]

_D65 = (0.3127, 0.3290)
_SRGB = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), _D65)
_PRIMARIES: dict[int, tuple[Point, Point, Point, Point]] = {
    1: _SRGB,
    9: ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), _D65),
    12: ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65),
}
_D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])

_SRGB_GAMMA = 45455
_GAMMAS = {4: 2.2, 5: 2.8}
_KINDS = (b"cICP", b"iCCP", b"sRGB", b"gAMA", b"cHRM")
_MOST_CHUNKS = 1000


def profile(file: BinaryIO) -> bytes | None:
    """Return the profile for the PNG in `file`; None where it has one of its own, says sRGB, or says nothing."""
    said = _said(file)
    if len(said.get(b"cICP", b"")) == 4:
        primaries, transfer = said[b"cICP"][:2]
        return by_numbers(primaries, transfer, f"cICP {primaries}, {transfer}")
    if b"iCCP" in said or b"sRGB" in said or len(said.get(b"gAMA", b"")) != 4:
        return None
    gamma = int.from_bytes(said[b"gAMA"], "big")
    corners = _corners(said.get(b"cHRM", b""))
    if not 10_000 <= gamma <= 1_000_000 or (_is_srgbs(gamma) and _is_close(corners)):
        return None
    return _written(f"gamma {100_000 / gamma:.3g}", corners, _gamma_curve(100_000 / gamma))


def is_plain(kind: bytes, content: bytes | memoryview) -> bool:
    """May a decoder ignore this chunk? Of gAMA and cHRM, only those that say sRGB."""
    if kind == b"gAMA":
        return len(content) == 4 and _is_srgbs(int.from_bytes(content, "big"))
    return kind != b"cHRM" or _is_close(_corners(content))


def _is_srgbs(gamma: int) -> bool:
    return abs(gamma - _SRGB_GAMMA) <= _SRGB_GAMMA // 40  # writers round it: 45455, 45000, 0.45


def _is_close(corners: tuple[Point, ...]) -> bool:
    return bool(np.abs(np.subtract(corners, _SRGB)).max() < 0.004)  # writers round these to two figures


def _said(file: BinaryIO) -> Mapping[bytes, bytes]:
    """Return the content of the colour chunks before the pixels, up to 64 bytes of the first of each; none of iCCP."""
    found: dict[bytes, bytes] = {}
    for kind, _, length in islice(chunks.walk(file), _MOST_CHUNKS):
        if kind == b"IDAT":
            break
        if kind in _KINDS and kind not in found:
            found[kind] = b"" if kind == b"iCCP" else file.read(min(length, 64))
    return found


def _corners(chrm: bytes | memoryview) -> tuple[Point, Point, Point, Point]:
    """Return red, green, blue and white of a cHRM chunk, or sRGB's where its values make no sense."""
    if len(chrm) != 32:
        return _SRGB
    wx, wy, *rest = (value / 100_000 for value in struct.unpack(">8I", chrm))
    corners = ((rest[0], rest[1]), (rest[2], rest[3]), (rest[4], rest[5]), (wx, wy))
    area = np.linalg.det(np.array([[x, y, 1] for x, y in corners[:3]]))
    sensible = abs(area) > 0.01 and all(0 <= x <= 1 and 0 < y <= 1 for x, y in corners)
    return corners if sensible else _SRGB


def by_numbers(primaries: int, transfer: int, name: str) -> bytes | None:
    """Return the profile, called `name`, for the numbers of ITU-T H.273; None where that is sRGB."""
    corners = _PRIMARIES.get(primaries, _SRGB)
    if transfer in _GAMMAS:
        return _written(name, corners, _gamma_curve(_GAMMAS[transfer]))
    steps = np.linspace(0, 1, 4096)
    match transfer:
        case 8:  # linear
            light = steps
        case 16:  # PQ
            light = _pq(steps) / 203
        case 18:  # HLG
            light = _hlg(steps) / _hlg(np.array(0.75))
        case _:  # sRGB's, and video's, which screens show as sRGB (common practice, no source)
            if corners == _SRGB:
                return None
            light = np.where(steps <= 0.04045, steps / 12.92, ((steps + 0.055) / 1.055) ** 2.4)
    return _written(name, corners, _curve(np.clip(light, 0, 1)))


def _pq(values: F64) -> F64:
    """Return the light of perceptual-quantizer values, in candelas a square metre."""
    root = values ** (1 / 78.84375)
    light: F64 = 10_000 * (np.maximum(root - 0.8359375, 0) / (18.8515625 - 18.6875 * root)) ** (1 / 0.1593017578125)
    return light


def _hlg(values: F64) -> F64:
    """Return the displayed light of hybrid log-gamma values: scene light to the power of 1.2, the system gamma."""
    high = (np.exp((values - 0.55991073) / 0.17883277) + 0.28466892) / 12
    light: F64 = np.where(values <= 0.5, values**2 / 3, high) ** 1.2
    return light


# -- the profile ------------------------------------------------------------------------------------


def _written(name: str, corners: tuple[Point, Point, Point, Point], curve: bytes) -> bytes:
    """Return a matrix profile of version 2."""
    text = name.encode("ascii") + b"\0"
    tags = {b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(78), b"wtpt": _xyz(_D50)}
    tags |= dict(zip((b"rXYZ", b"gXYZ", b"bXYZ"), map(_xyz, _columns(corners)), strict=True))
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve)
    table, data = struct.pack(">I", len(tags)), b""
    for tag, body in tags.items():
        table += tag + struct.pack(">II", 132 + 12 * len(tags) + len(data), len(body))
        data += body + bytes(-len(body) % 4)
    head = bytes(8) + b"\x02\x10\0\0mntrRGB XYZ " + bytes(12) + b"acsp"
    whole = (head.ljust(68, b"\0") + _xyz(_D50)[8:]).ljust(128, b"\0") + table + data
    return struct.pack(">I", len(whole)) + whole[4:]


def _columns(corners: tuple[Point, Point, Point, Point]) -> F64:
    """Return XYZ of full red, green and blue as the rows of (3, 3), adapted from their white to D50 by Bradford."""
    *primaries, white = (np.array([x / y, 1, (1 - x - y) / y]) for x, y in corners)
    matrix = np.stack(primaries, -1)
    matrix = matrix * np.linalg.solve(matrix, white)
    scale = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    columns: F64 = (np.linalg.inv(_BRADFORD) @ scale @ _BRADFORD @ matrix).T
    return columns


def _xyz(values: F64) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(float(value) * 65536)) for value in values)


def _gamma_curve(gamma: float) -> bytes:
    return _curve(np.linspace(0, 1, 4096) ** gamma)


def _curve(light: F64) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">I", len(light)) + np.round(light * 65535).astype(">u2").tobytes()
