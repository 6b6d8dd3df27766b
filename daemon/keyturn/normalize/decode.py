"""Stills decoded by the quickest library that gives the same pixels; Pillow stays the judge of what is sound.

Pillow opens every file and knows its kind, size and limits. A plain PNG (8-bit RGB or RGBA, not interlaced,
nothing in it that changes colours or turns, every chunk whole) then goes to libspng within libvips, whose
slightest complaint hands it back to Pillow. All else is Pillow's from the start.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import BinaryIO

from PIL import Image, ImageFile

from keyturn.normalize.fit import Fit, enlargement
from keyturn.normalize.reading import declared_colours, stills
from keyturn.png import chunks, deflate
from keyturn.shop import fast_libraries
from keyturn.shop.rulebook import Intake

FINER = 1.4
"""A JPEG is decoded at a half, a quarter or an eighth where this much detail more than the panel's is left.

A 12-megapixel photograph for 768 x 1024 then takes half of the time. At that ratio, 1.46, it comes within 52 dB
of the whole way round; small black lettering on white, the hardest case, within 34 dB, a softer edge.
"""


def still(path: Path, intake: Intake, *, name: str, fit: Fit | None = None) -> Image.Image:
    """The decoded picture (a clip's first), its EXIF and profile in `info`, as `stills.load` has it.

    With `fit`, a much larger JPEG may come out smaller by a whole power of two, see `FINER`.
    Raises `Refused` where the picture cannot be decoded, OSError as it comes from the shop's disk.
    """
    with path.open("rb") as file, stills.reading(name, intake.caps.picture_mpx):
        image = stills.opened(file, intake, name)
        if fit is not None and image.format in ("JPEG", "MPO"):
            _draft(image, fit)
        elif fit is not None and image.format == "SVG":
            image.draft(None, _covering(image.size, fit))
        plain = plain_png(image, file)
        quickly = _by_libvips(plain, image.mode) if plain else None
        return quickly or stills.decoded(image, lambda: stills.opened(file, intake, name))


def _draft(image: ImageFile.ImageFile, fit: Fit) -> None:
    size = image.size if stills.orientation(image) < 5 else image.size[::-1]
    share = enlargement(size, fit) * FINER
    if share < 1:
        wide, high = (max(1, int(side * share)) for side in image.size)
        image.draft(None, (wide, high))


def _covering(size: tuple[int, int], fit: Fit) -> tuple[int, int]:
    """The size at which the art is shown, before any of it is cropped."""
    share = enlargement(size, fit)
    return max(1, round(size[0] * share)), max(1, round(size[1] * share))


# -- plain PNG --------------------------------------------------------------------------------------

_HARMLESS = frozenset([b"pHYs", b"tIME", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"bKGD", b"tEXt"])
"""Chunks (PNG specification, third edition, 11) that change nothing; gAMA and cHRM only where they say sRGB."""

_MOST_TEXT = 1 << 16


def plain_png(image: ImageFile.ImageFile, file: BinaryIO) -> bytes | None:
    """The whole file of an opened picture, where it is a plain and sound PNG; else None."""
    tiles = image.tile
    if image.format != "PNG" or len(tiles) != 1 or image.mode not in ("RGB", "RGBA") or tiles[0].args != image.mode:
        return None
    if image.info.keys() & {"transparency", "icc_profile", "exif", "interlace"}:
        return None
    rows = image.height * (1 + len(image.mode) * image.width)
    if file.seek(0, io.SEEK_END) > rows + rows // 64 + 2 * _MOST_TEXT:  # more than any sound file of it needs
        return None
    file.seek(0)
    data = file.read()
    return data if is_sound(data) else None


def is_sound(data: bytes) -> bool:
    """Chunks whole and in order: IHDR, harmless ones, the IDATs in one run, harmless ones, IEND, the end."""
    kinds, text, end = [], 0, 8
    for chunk in chunks.walk(io.BytesIO(data)):
        kind, end = chunk.kind, chunk.end
        if end > len(data):
            return False
        if deflate.crc32(memoryview(data)[chunk.start - 4 : chunk.stop]).to_bytes(4, "big") != data[chunk.stop : end]:
            return False
        if not declared_colours.is_plain(kind, data[chunk.start : chunk.stop]):
            return False
        text += chunk.length if kind not in (b"IDAT", b"IHDR") else 0
        kinds.append(kind)
    if kinds[:1] != [b"IHDR"] or kinds[-1:] != [b"IEND"] or end != len(data) or text > _MOST_TEXT:
        return False
    runs = [kind for i, kind in enumerate(kinds[1:-1]) if kind != b"IDAT" or kinds[i] != b"IDAT"]
    return runs.count(b"IDAT") == 1 and set(runs) <= _HARMLESS | {b"IDAT"}


def _by_libvips(data: bytes, mode: str) -> Image.Image | None:
    pyvips = fast_libraries.library(fast_libraries.DECODE)
    if pyvips is None:
        return None
    try:
        opened = pyvips.Image.pngload_buffer(data, access="sequential", fail_on="warning")
        size, bands = (opened.width, opened.height), opened.bands
        pixels = opened.write_to_memory() if bands == len(mode) and opened.format == "uchar" else None
    except pyvips.Error:
        return None
    return Image.frombuffer(mode, size, pixels, "raw", mode, 0, 1) if pixels is not None else None
