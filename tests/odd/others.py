"""Odd files of the rarer kinds: TGA, PBM to PAM, ICO, JPEG 2000, QOI, written here by their published formats.

Pillow writes the JPEG 2000 and QOI files.
"""

from __future__ import annotations

import io
import itertools
import struct
from collections.abc import Iterator

import numpy as np
from PIL import Image

from odd.marker import ALPHA, BITS, COLOURS, GREYS, Odd, Pixels, shown, spread

SIZE = (66, 88)
RGB, GREY = spread(COLOURS, SIZE), spread(GREYS, SIZE)
RGBA = np.concatenate([RGB, spread(ALPHA, SIZE)[..., None]], -1)
GREY_ALPHA = np.stack([GREY, spread(ALPHA, SIZE)], -1)


def files() -> Iterator[Odd]:
    yield from _tgas()
    yield from _pnms()
    yield from _icons()
    for name, pixels, wanted in (("rgb", RGB, shown(COLOURS)), ("rgba", RGBA, shown(COLOURS, ALPHA))):
        yield Odd(f"qoi-{name}", saved(pixels, "QOI"), (wanted,))
        for form, no_jp2 in itertools.product(("jp2", "j2k"), (False, True)):
            name_ = f"jp2-{name}-{form}{'-lossy' if no_jp2 else ''}"
            yield Odd(name_, saved(pixels, "JPEG2000", no_jp2=form == "j2k", irreversible=no_jp2), (wanted,))


def saved(pixels: Pixels, form: str, **how: object) -> bytes:
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, form, **how)
    return file.getvalue()


# -- TGA: Truevision TGA specification 2.0 -----------------------------------------------------------

_FORMS = {"mapped": 1, "rgb": 2, "grey": 3}


def tga(
    form: str, stored: Pixels, *, depth: int, attributes: int = 0, packed: bool = False, corner: int = 0, area: int = -1
) -> bytes:
    """A file of `stored` pixels, (H, W, bytes). `corner`: bit 0 from the right, bit 1 from the top.

    `area`: the attributes type of an extension area; -1 for a file without one.
    """
    high, wide = stored.shape[:2]
    placed = stored[:: 1 if corner & 2 else -1, :: -1 if corner & 1 else 1]
    palette = b"".join(bytes(colour[::-1]) for colour in COLOURS.reshape(-1, 3)) if form == "mapped" else b""
    entries = (len(palette) // 3, 24) if palette else (0, 0)
    head = struct.pack("<BBBHHB", 0, bool(palette), _FORMS[form] + 8 * packed, 0, *entries)
    head += struct.pack("<HHHHBB", 0, 0, wide, high, depth, attributes | corner << 4)
    pixels = [pixel.tobytes() for pixel in np.ascontiguousarray(placed).reshape(-1, stored.shape[2])]
    data = head + palette + (_run_lengths(pixels) if packed else b"".join(pixels))
    if area < 0:
        return data
    extension = struct.pack("<H", 495) + bytes(492) + bytes([area])
    return data + extension + struct.pack("<II", len(data), 0) + b"TRUEVISION-XFILE.\0"


def _run_lengths(pixels: list[bytes]) -> bytes:
    out = b""
    for pixel, run in itertools.groupby(pixels):
        left = len(list(run))
        while left:
            out += bytes([127 + min(left, 128)]) + pixel
            left -= min(left, 128)
    return out


def five_bits(spare: int) -> Pixels:
    """The scene in 5 bits a channel, as the two bytes of a TGA pixel."""
    red, green, blue = (RGB[..., n].astype(np.uint16) >> 3 for n in range(3))
    return (red << 10 | green << 5 | blue | spare << 15).astype("<u2")[..., None].view(np.uint8)


def _tgas() -> Iterator[Odd]:
    bgr, bgra = RGB[..., ::-1], RGBA[..., [2, 1, 0, 3]]
    blocks = spread(np.arange(12, dtype=np.uint8).reshape(4, 3), SIZE)[..., None]
    for packed, corner in itertools.product((False, True), range(4)):
        tag = f"{'packed' if packed else 'plain'}{corner}"
        how = {"packed": packed, "corner": corner}
        yield Odd(f"tga-rgb-{tag}", tga("rgb", bgr, depth=24, **how), (shown(COLOURS),))
        yield Odd(f"tga-rgba-{tag}", tga("rgb", bgra, depth=32, attributes=8, **how), (shown(COLOURS, ALPHA),))
        yield Odd(f"tga-mapped-{tag}", tga("mapped", blocks, depth=8, **how), (shown(COLOURS),))
        yield Odd(f"tga-grey-{tag}", tga("grey", GREY[..., None], depth=8, **how), (shown(GREYS),))
    for depth, spare in itertools.product((15, 16), (0, 1)):
        data = tga("rgb", five_bits(spare), depth=depth, attributes=spare)
        yield Odd(f"tga-{depth}bits{spare}", data, (shown(COLOURS),), apart=8)
    grey_alpha = tga("grey", GREY_ALPHA, depth=16, attributes=8)
    yield Odd("tga-grey-alpha", grey_alpha, (shown(GREYS, ALPHA),))
    yield Odd("tga-grey-16", tga("grey", GREY_ALPHA, depth=16), expect="refused")
    unused = np.concatenate([bgr, np.zeros_like(bgr[..., :1])], -1)
    yield Odd("tga-unused-alpha", tga("rgb", unused, depth=32, attributes=8), (shown(COLOURS),))
    yield Odd("targa-said-unused", tga("rgb", bgra, depth=32, attributes=8, area=0), (shown(COLOURS),))
    laid = (bgra[..., :3] * (bgra[..., 3:] / 255)).round().astype(np.uint8)
    laid = np.concatenate([laid, bgra[..., 3:]], -1)
    data = tga("rgb", laid, depth=32, attributes=8, area=4)
    yield Odd("targa-premultiplied", data, (shown(COLOURS, ALPHA),))
    yield Odd("targa-straight", tga("rgb", bgra, depth=32, attributes=8, area=3), (shown(COLOURS, ALPHA),))


# -- Netpbm: pbm(5), pgm(5), ppm(5), pam(5) ---------------------------------------------------------


def pnm(number: int, most: int, samples: Pixels, *, remark: bool = False) -> bytes:
    """A file of `samples` from 0 to `most`: numbers 1 to 3 are written as text, 4 to 6 as bytes."""
    high, wide = samples.shape[:2]
    note = "# Fern Hollow, 12 lamps\n" if remark else ""
    head = f"P{number}\n{note}{wide} {high}\n"
    head += "" if number in (1, 4) else f"{most}\n"
    if number < 4:
        rows = (" ".join(map(str, row.ravel())) for row in samples)
        return (head + "\n".join(rows) + "\n").encode()
    if number == 4:
        return head.encode() + np.packbits(samples, axis=1).tobytes()
    return head.encode() + samples.astype(">u2" if most > 255 else "u1").tobytes()


TUPLES = {1: "GRAYSCALE", 2: "GRAYSCALE_ALPHA", 3: "RGB", 4: "RGB_ALPHA", 5: "FIVE"}


def pam(most: int, samples: Pixels) -> bytes:
    high, wide, channels = samples.shape
    head = f"P7\n# a lamp\nWIDTH {wide}\nHEIGHT {high}\nDEPTH {channels}\nMAXVAL {most}\n"
    head += f"TUPLTYPE {TUPLES[channels]}\nENDHDR\n"
    return head.encode() + samples.astype(">u2" if most > 255 else "u1").tobytes()


def _pnms() -> Iterator[Odd]:
    bits = spread(BITS, SIZE)
    for number, remark in itertools.product((1, 4), (False, True)):
        yield Odd(f"ppm-bits-{number}{remark}", pnm(number, 1, 1 - bits, remark=remark), (shown(BITS * 255),))
    for most in (255, 15, 100, 1023, 65535):
        every = (GREY, RGB, RGBA, GREY_ALPHA)
        scaled = [np.rint(pixels.astype(float) * most / 255).astype(np.int64) for pixels in every]
        apart = 10 if most == 15 else 4
        forms = ((2, scaled[0], GREYS), (5, scaled[0], GREYS), (3, scaled[1], COLOURS), (6, scaled[1], COLOURS))
        for number, pixels, wanted in forms:
            yield Odd(f"ppm-{number}-{most}", pnm(number, most, pixels), (shown(wanted),), apart=apart)
        yield Odd(f"ppm-pam-rgba-{most}", pam(most, scaled[2]), (shown(COLOURS, ALPHA),), apart=apart)
        yield Odd(f"ppm-pam-grey-{most}", pam(most, scaled[3]), (shown(GREYS, ALPHA),), apart=apart)


# -- ICO: the format's public documentation (ICONDIR, BITMAPINFOHEADER) -----------------------------


def icon(*pictures: tuple[tuple[int, int], bytes]) -> bytes:
    at = 6 + 16 * len(pictures)
    entries = b""
    for (wide, high), data in pictures:
        entries += struct.pack("<BBBBHHII", wide % 256, high % 256, 0, 0, 1, 32, len(data), at)
        at += len(data)
    return struct.pack("<HHH", 0, 1, len(pictures)) + entries + b"".join(data for _, data in pictures)


def _bitmap(pixels: Pixels) -> bytes:
    high, wide = pixels.shape[:2]
    head = struct.pack("<IiiHHIIiiII", 40, wide, 2 * high, 1, 32, 0, 0, 0, 0, 0, 0)
    return head + pixels[::-1, :, [2, 1, 0, 3]].tobytes() + bytes((wide + 31) // 32 * 4 * high)


def _icons() -> Iterator[Odd]:
    small = spread(COLOURS[::-1], (18, 24))
    yield Odd("ico-png", icon((SIZE, saved(RGBA, "PNG"))), (shown(COLOURS, ALPHA),))
    yield Odd("ico-bitmap", icon((SIZE, _bitmap(RGBA))), (shown(COLOURS, ALPHA),))
    yield Odd("ico-largest", icon(((18, 24), saved(small, "PNG")), (SIZE, _bitmap(RGBA))), (shown(COLOURS, ALPHA),))
