"""Colour arithmetic and ICC profiles of the odd files' own making.

Sources: IEC 61966-2-1 (sRGB); ICC.1 (profile format; Bradford adaptation in its annex E); the primaries of
Display P3, Adobe RGB (1998) and ProPhoto (ISO 22028-2) as their specifications print them.
"""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]

D65, D50 = (0.3127, 0.3290), (0.3457, 0.3585)
PCS = (0.9642, 1.0, 0.8249)
PRIMARIES = {
    "srgb": ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), D65),
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), D65),
    "adobe": ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), D65),
    "prophoto": ((0.734699, 0.265301), (0.159597, 0.840403), (0.036598, 0.000105), D50),
}
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def encoded(light: F) -> F:
    """Linear light to sRGB values, both 0 to 1."""
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def decoded(values: F) -> F:
    """sRGB values to linear light, both 0 to 1."""
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def to_xyz(name: str) -> F:
    """Linear RGB of a space to XYZ under D50, the connection space of profiles."""
    *corners, white = (np.array([x / y, 1, (1 - x - y) / y]) for x, y in PRIMARIES[name])
    columns = np.stack(corners, -1)
    plain = columns * np.linalg.solve(columns, white)
    scale = np.diag((_BRADFORD @ np.array(PCS)) / (_BRADFORD @ white))
    return np.linalg.inv(_BRADFORD) @ scale @ _BRADFORD @ plain


def as_srgb(values: NDArray[Any], name: str, gamma: float | None = None) -> F:
    """8-bit values (..., 3) of a space as 8-bit sRGB, unrounded; `gamma` None is sRGB's own curve."""
    share = np.asarray(values, float) / 255
    light = decoded(share) if gamma is None else share**gamma
    return 255 * encoded(light @ (np.linalg.inv(to_xyz("srgb")) @ to_xyz(name)).T)


# -- profiles ---------------------------------------------------------------------------------------


def s15(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def xyz(values: F | tuple[float, ...]) -> bytes:
    return b"XYZ \0\0\0\0" + s15(*values)


def profile(space: bytes, pcs: bytes, tags: dict[bytes, bytes], *, name: str = "Odd", version: int = 2) -> bytes:
    text = name.encode() + b"\0"
    if version == 2:
        said = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(78)
    else:
        words = name.encode("utf-16-be")
        said = b"mluc\0\0\0\0" + struct.pack(">II", 1, 12) + b"enUS" + struct.pack(">II", len(words), 28) + words
    tags = {b"desc": said, b"wtpt": xyz(PCS), **tags}
    at = 132 + 12 * len(tags)
    table, data = struct.pack(">I", len(tags)), b""
    for tag, body in tags.items():
        table += tag + struct.pack(">II", at + len(data), len(body))
        data += body + bytes(-len(body) % 4)
    head = bytes(8) + bytes([version, 0x10, 0, 0]) + b"mntr" + space + pcs + bytes(12) + b"acsp"
    whole = (head.ljust(68, b"\0") + s15(*PCS)).ljust(128, b"\0") + table + data
    return struct.pack(">I", len(whole)) + whole[4:]


def gamma_curve(gamma: float, version: int = 2) -> bytes:
    if version == 2:
        return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))
    return b"para\0\0\0\0" + bytes(4) + s15(gamma)


def srgb_curve(version: int = 2) -> bytes:
    if version == 2:
        steps = np.round(decoded(np.linspace(0, 1, 1024)) * 65535).astype(">u2")
        return b"curv\0\0\0\0" + struct.pack(">I", 1024) + steps.tobytes()
    return b"para\0\0\0\0\0\3\0\0" + s15(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def matrix(name: str, gamma: float | None = None, version: int = 2, padding: int = 0) -> bytes:
    """A matrix profile; `padding` is bytes of a private tag, for profiles of absurd size."""
    bend = srgb_curve(version) if gamma is None else gamma_curve(gamma, version)
    columns = dict(zip((b"rXYZ", b"gXYZ", b"bXYZ"), map(xyz, to_xyz(name).T), strict=True))
    more = {b"pads": b"data\0\0\0\0\0\0\0\0" + bytes(padding)} if padding else {}
    curves = dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), bend)
    return profile(b"RGB ", b"XYZ ", columns | curves | more, name=name, version=version)


def grey(gamma: float, version: int = 2) -> bytes:
    return profile(b"GRAY", b"XYZ ", {b"kTRC": gamma_curve(gamma, version)}, name="grey", version=version)


def lut(space: bytes, channels: int, lab_corners: F) -> bytes:
    """A lut8 table of the 2 ** channels corners, as 8-bit CIELAB (ICC.1, lut8Type); D50, as profiles have it."""
    flat = bytes(range(256))
    lab = np.stack([lab_corners[..., 0] * 2.55, lab_corners[..., 1] + 128, lab_corners[..., 2] + 128], -1)
    body = b"mft1\0\0\0\0" + bytes([channels, 3, 2, 0]) + s15(1, 0, 0, 0, 1, 0, 0, 0, 1)
    body += flat * channels + np.round(np.clip(lab, 0, 255)).astype(np.uint8).tobytes() + flat * 3
    return profile(space, b"Lab ", {b"A2B0": body}, name="corners")


def lab_to_srgb(lab: F) -> F:
    """CIELAB (D50) to 8-bit sRGB, unrounded (CIE 15)."""
    f = np.stack([(lab[..., 0] + 16) / 116 + lab[..., 1] / 500, (lab[..., 0] + 16) / 116], -1)
    f = np.concatenate([f, (f[..., 1] - lab[..., 2] / 200)[..., None]], -1)
    light = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * np.array(PCS)
    return 255 * encoded(light @ np.linalg.inv(to_xyz("srgb")).T)
