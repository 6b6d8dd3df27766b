"""Odd JPEG files: grey, colour, four inks; progressive, arithmetic, restart markers; EXIF, MPO, the APP14 marker.

ITU-T T.81 (coding), JFIF 1.02, T.872 (APP14), CIPA DC-008 (EXIF), CIPA DC-007 (MPO), ICC.1 annex B.4.
"""

from __future__ import annotations

import io
import itertools
import shutil
import subprocess
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from odd import light
from odd.marker import COLOURS, GREYS, Odd, exif, shown, spread, stored

SIZE = (72, 96)
APART = 12.0
"""Tables of quality 85 and above move a flat block by a few steps only."""


def saved(pixels: NDArray[Any], mode: str = "", **how: Any) -> bytes:
    file = io.BytesIO()
    pixels = np.ascontiguousarray(pixels.astype(np.uint8))
    image = Image.frombytes(mode, pixels.shape[1::-1], pixels.tobytes()) if mode else Image.fromarray(pixels)
    image.save(file, "JPEG", **{"quality": 92, **how})
    return file.getvalue()


def segment(marker: int, data: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(data) + 2).to_bytes(2, "big") + data


def with_segment(data: bytes, *segments: bytes) -> bytes:
    """After the start of image, before all else."""
    return data[:2] + b"".join(segments) + data[2:]


def without(data: bytes, marker: int) -> bytes:
    """Without the first segment of that marker."""
    at = data.index(bytes([0xFF, marker]))
    return data[:at] + data[at + 2 + int.from_bytes(data[at + 2 : at + 4], "big") :]


def app1(block: bytes) -> bytes:
    return segment(0xE1, b"Exif\0\0" + block)


def files() -> Iterator[Odd]:
    grey, rgb = spread(GREYS, SIZE), spread(COLOURS, SIZE)
    for name, pixels, wanted in [("grey", grey, shown(GREYS)), ("rgb", rgb, shown(COLOURS))]:
        for progressive, restart, sub, quality in itertools.product((0, 1), (0, 3), (0, 1, 2), (75, 85, 92, 100)):
            if name == "grey" and sub:
                continue
            how: dict[str, Any] = {"progressive": bool(progressive), "subsampling": sub, "quality": quality}
            data = saved(pixels, **how, restart_marker_blocks=restart)
            yield Odd(f"jpeg-{name}-p{progressive}r{restart}s{sub}q{quality}", data, (wanted,), apart=APART)
        yield from _turned(name, pixels, wanted)
        yield from _variants(name, pixels, wanted)
    for turn, sub in itertools.product(range(1, 9), (0, 2)):  # so large that it is decoded at a half or a quarter
        large = saved(stored(spread(COLOURS, (432, 576)), turn), subsampling=sub, progressive=turn % 2 == 0)
        tag = f"jpeg-large-turn{turn}s{sub}"
        yield Odd(tag, with_segment(large, app1(exif(turn))), (shown(COLOURS),), apart=APART)
    yield Odd("jpeg-rgb-kept", saved(rgb, keep_rgb=True), (shown(COLOURS),), apart=APART)
    for bits in (12, 16):  # such files are refused by their frame header, so the rest may be of 8 bits
        deep = bytearray(saved(rgb))
        deep[deep.index(b"\xff\xc0") + 4] = bits
        yield Odd(f"jpeg-deep{bits}", bytes(deep), expect="refused")
    yield from _inks()
    yield from _profiled(rgb)
    yield from _by_programs(rgb, grey)


def _turned(name: str, pixels: NDArray[Any], wanted: NDArray[np.float64]) -> Iterator[Odd]:
    small = saved(spread(COLOURS[::-1], (24, 32)))
    for turn, order, thumb in itertools.product(range(1, 9), ("II", "MM"), (b"", small)):
        data = saved(stored(pixels, turn))
        block = app1(exif(turn, order, thumb))
        tag = f"jpeg-{name}-turn{turn}{order}{'thumb' if thumb else ''}"
        yield Odd(tag, with_segment(data, block), (wanted,), apart=APART)
        if not thumb:
            late = data[:2] + segment(0xFE, b"a comment") + data[2:20] + block + data[20:]
            yield Odd(f"{tag}late", late, (wanted,), apart=APART)
            file = io.BytesIO()  # a second picture behind the first, as phones keep it
            image = Image.fromarray(np.ascontiguousarray(stored(pixels, turn)))
            other = Image.fromarray(np.zeros((16, 16), np.uint8)).convert(image.mode)
            image.save(file, "MPO", save_all=True, append_images=[other], exif=b"Exif\0\0" + exif(turn, order))
            yield Odd(f"{tag}mpo", file.getvalue(), (wanted,), apart=APART)


def _variants(name: str, pixels: NDArray[Any], wanted: NDArray[np.float64]) -> Iterator[Odd]:
    plain = saved(pixels)
    broken = [b"", b"II*\0", b"II*\0\xff\xff\xff\xff", b"MM\0*" + b"\xff" * 40, exif(6)[:14], exif(1) + b"x" * 60_000]
    for number, block in enumerate(broken):
        yield Odd(f"jpeg-{name}-badexif{number}", with_segment(plain, app1(block)), (wanted,), apart=APART)
    for turn in (0, 9, 255):  # values that the standard does not have mean nothing
        yield Odd(f"jpeg-{name}-turn{turn}", with_segment(plain, app1(exif(turn))), (wanted,), apart=APART)
    for text, data in {
        "nojfif": without(plain, 0xE0),
        "comment": with_segment(plain, segment(0xFE, b"x" * 65_000)),
        "fill": plain[:2] + b"\xff\xff" + plain[2:],
        "private": with_segment(plain, *(segment(0xE0 + i, b"odd\0" * 9) for i in range(3, 13))),
        "garbage": plain + b"\0garbage" * 300,
        "zeros": plain + bytes(5000),
        "twice": plain + plain,
        "noend": plain[:-2],
        "xmp": with_segment(plain, segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta/>")),
        "twoexif": with_segment(plain, app1(exif(1)), app1(exif(1))),
    }.items():
        expect = "either" if text == "noend" else "made"
        yield Odd(f"jpeg-{name}-{text}", data, (wanted,), expect, APART)  # type: ignore[arg-type]


def _inks() -> Iterator[Odd]:
    """Inks without a profile: C, M, Y against white are plain; a guess, so only their rough colours are asked."""
    inks = np.concatenate([255 - COLOURS, np.zeros((4, 3, 1), np.uint8)], -1)
    inks[2, 1] = 0, 0, 0, 235
    wanted = 255.0 - np.minimum(255, inks[..., :3].astype(int) + inks[..., 3:])
    for turn, progressive in itertools.product(range(1, 9), (False, True)):
        pixels = stored(spread(inks, SIZE), turn)
        marked = saved(pixels, "CMYK", progressive=progressive, quality=95)
        tag = f"{turn}{'p' if progressive else ''}"
        adobe = with_segment(marked, app1(exif(turn)))
        yield Odd(f"jpeg-cmyk-adobe{tag}", adobe, (wanted,), apart=16)
        bare = without(saved(255 - pixels, "CMYK", progressive=progressive, quality=95), 0xEE)
        yield Odd(f"jpeg-cmyk-bare{tag}", with_segment(bare, app1(exif(turn))), (wanted,), apart=16)
        # YCCK: C, M, Y turned as R, G, B are, K as files with APP14 store it. Pillow's writer inverts what it is given.
        ycc = np.asarray(Image.fromarray(np.ascontiguousarray(pixels[..., :3])).convert("YCbCr"))
        raw = np.concatenate([ycc, 255 - pixels[..., 3:]], -1)
        data = bytearray(saved(255 - raw, "CMYK", progressive=progressive, quality=95))
        data[data.index(b"\x41\x64\x6f\x62\x65") + 11] = 2
        yield Odd(f"jpeg-ycck-adobe{tag}", with_segment(bytes(data), app1(exif(turn))), (wanted,), apart=16)


def _profiled(rgb: NDArray[Any]) -> Iterator[Odd]:
    for name, gamma, data in [
        ("p3", None, light.matrix("p3")),
        ("p3v4", None, light.matrix("p3", version=4)),
        ("adobe", 2.2, light.matrix("adobe", 2.2)),
        ("huge", None, light.matrix("p3", padding=600_000)),
    ]:
        wanted = light.as_srgb(COLOURS, "adobe" if gamma else "p3", gamma)
        plain = saved(rgb, quality=100, subsampling=0)
        pieces = [data[i : i + 60_000] for i in range(0, len(data), 60_000)]
        parts = [segment(0xE2, b"ICC_PROFILE\0" + bytes([i, len(pieces)]) + p) for i, p in enumerate(pieces, 1)]
        yield Odd(f"jpeg-icc-{name}", with_segment(plain, *parts), (wanted,), apart=APART)
        yield Odd(f"jpeg-icc-{name}-backwards", with_segment(plain, *parts[::-1]), (wanted,), apart=APART)
        if len(parts) > 1:  # a piece is missing: the colours are taken as sRGB
            yield Odd(f"jpeg-icc-{name}-part", with_segment(plain, *parts[1:]), (shown(COLOURS),), apart=APART)


def _by_programs(rgb: NDArray[Any], grey: NDArray[Any]) -> Iterator[Odd]:
    """What Pillow cannot write: libjpeg-turbo's own programs, where they are installed."""
    if not shutil.which("cjpeg"):
        return
    for name, pixels, wanted in [("rgb", rgb, shown(COLOURS)), ("grey", grey, shown(GREYS))]:
        kind = b"P5" if pixels.ndim == 2 else b"P6"
        pnm = kind + b" %d %d 255\n" % SIZE + pixels.tobytes()
        for number, how in enumerate(
            [
                ["-arithmetic"],
                ["-arithmetic", "-progressive"],
                ["-arithmetic", "-restart", "2"],
                ["-sample", "4x1"],
                ["-sample", "1x2"],
                ["-sample", "4x2"],
                ["-sample", "2x2,1x2,2x1"],
                ["-sample", "1x1,1x1,1x1", "-progressive"],
                ["-restart", "1B"],
                ["-dct", "float", "-quality", "30"],
                ["-quality", "100", "-optimize"],
                ["-baseline", "-quality", "5"],
                ["-smooth", "20"],
                ["-rgb"],
            ]
        ):
            done = subprocess.run(["cjpeg", "-quality", "90", *how], input=pnm, capture_output=True)
            if done.returncode == 0 and done.stdout:
                apart = 45 if how[-1] in ("30", "5") else 15
                yield Odd(f"jpeg-{name}-program{number}", done.stdout, (wanted,), apart=apart)
