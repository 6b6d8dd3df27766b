"""Stills decoded by the quickest library that gives the same pixels; Pillow decides what is sound.

Pillow opens every file and checks its kind, size and limits. kornia-rs (the png crate) then decodes a plain PNG: 8-bit
RGB or RGBA, not interlaced, every chunk whole, no chunk that changes colours or turns the picture. Where that fails,
Pillow decodes the file. Pillow decodes all other files too. The Adler-32 of the pixels is not looked at: each chunk's
CRC-32 is, and Web browsers show such a picture too.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from PIL import Image, ImageFile

from keyturn.normalize.fit import Fit, enlargement
from keyturn.normalize.reading import declared_colours, exif_turn, stills
from keyturn.normalize.reading.pillow_limits import reading
from keyturn.normalize.srgb import upright
from keyturn.png import chunks, deflate
from keyturn.shop import fast_libraries
from keyturn.shop.rulebook import Intake

FINER = 1.4
"""A JPEG is decoded at a half, a quarter or an eighth of its size where this times the panel's detail is left.

A 12-megapixel photograph for 768 x 1024 then takes half of the time. The result, at a ratio of 1.46, differs from the
one by way of the full size by 52 dB; for small black lettering on white, the hardest case, by 34 dB: a softer edge.
"""


def still(path: Path, intake: Intake, *, name: str, fit: Fit | None = None) -> Image.Image:
    """Return the decoded picture (a clip's first), its EXIF and profile in `info`, as `stills.load` does.

    With `fit`, a much larger JPEG may come out smaller by a whole power of two, see `FINER`.
    Raise `Refused` where the picture cannot be decoded, OSError as it comes from the shop's disk.
    """
    with path.open("rb") as file, reading(name, intake.caps.picture_mpx):
        image = stills.opened(file, intake)
        if fit is not None and image.format in ("JPEG", "MPO"):
            _draft(image, fit)
        elif fit is not None and image.format == "SVG":
            image.draft(None, _covering(image.size, fit))
        return once((path, image.size), lambda: _decoded(image, file, intake))


def check_undamaged(path: Path, intake: Intake, *, name: str) -> None:
    """Check that a still came whole: a plain PNG by its checksums, in a fiftieth of the time, others by decoding them.

    Raise as `still`. What was wrong in a PNG before its checksums were written is found when it is decoded.
    """
    with path.open("rb") as file, reading(name, intake.caps.picture_mpx):
        image = stills.opened(file, intake)
        if plain_png(image, file) is None:
            stills.decoded(image, lambda: stills.opened(file, intake))


def _decoded(image: ImageFile.ImageFile, file: BinaryIO, intake: Intake) -> Image.Image:
    decoded = quickly(image, file) or stills.decoded(image, lambda: stills.opened(file, intake))
    return decoded if _shared is None else upright(decoded)


def quickly(image: ImageFile.ImageFile, file: BinaryIO) -> Image.Image | None:
    """Return the pixels of a picture that Pillow has opened, by kornia-rs where it can; else None."""
    plain = plain_png(image, file)
    return _by_kornia(plain, image.mode, image.size) if plain else None


# -- one picture for several panels -----------------------------------------------------------------

T = TypeVar("T")

_shared: dict[object, Any] | None = None


@contextmanager
def shared() -> Iterator[None]:
    """Within this, a picture is decoded and turned once, however many panels it is for.

    No file may change meanwhile. Whoever is given a picture must not change it.
    """
    global _shared
    _shared = {}
    try:
        yield
    finally:
        _shared = None


def is_shared() -> bool:
    return _shared is not None


def once(key: Hashable, make: Callable[[], T]) -> T:
    """Return what `make` returns; within `shared` what it returned before for the same key."""
    if _shared is None:
        return make()
    if key not in _shared:
        _shared[key] = make()
    made: T = _shared[key]
    return made


def _draft(image: ImageFile.ImageFile, fit: Fit) -> None:
    """Have a JPEG decoded at a fraction, see `FINER`."""
    size = image.size if exif_turn.orientation(image) < 5 else image.size[::-1]
    share = enlargement(size, fit) * FINER
    if share < 1:
        wide, high = (max(1, int(side * share)) for side in image.size)
        image.draft(None, (wide, high))


def _covering(size: tuple[int, int], fit: Fit) -> tuple[int, int]:
    """Return the size at which the art is shown, before it is cropped."""
    share = enlargement(size, fit)
    return max(1, round(size[0] * share)), max(1, round(size[1] * share))


# -- plain PNG --------------------------------------------------------------------------------------

_HARMLESS = frozenset([b"pHYs", b"tIME", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"bKGD", b"tEXt"])
"""Chunks that change nothing (PNG specification, third edition, 11); gAMA and cHRM only where they say sRGB."""

_MOST_TEXT = 1 << 16
"""Bytes of all chunks but the header and the pixels."""


def plain_png(image: ImageFile.ImageFile, file: BinaryIO) -> bytes | None:
    """Return the whole file of an opened picture where it is a plain and sound PNG; else None."""
    tiles = image.tile
    if image.format != "PNG" or len(tiles) != 1 or image.mode not in ("RGB", "RGBA") or tiles[0].args != image.mode:
        return None
    if image.info.keys() & {"transparency", "icc_profile", "exif", "interlace"}:
        return None
    rows = image.height * (1 + len(image.mode) * image.width)
    if file.seek(0, io.SEEK_END) > rows + rows // 64 + 2 * _MOST_TEXT:  # more than any sound file needs
        return None
    file.seek(0)
    data = file.read()
    return data if is_sound(data) else None


def is_sound(data: bytes) -> bool:
    """Are all chunks whole and in order: IHDR, harmless ones, the IDATs in one run, harmless ones, IEND, the end?"""
    kinds, text, end = [], 0, 8
    view = memoryview(data)
    for chunk in chunks.walk(io.BytesIO(data)):
        kind, start, stop = chunk.kind, chunk.start, chunk.stop
        end = stop + 4
        if end > len(data) or deflate.crc32(view[start - 4 : stop]).to_bytes(4, "big") != data[stop:end]:
            return False
        if not declared_colours.is_plain(kind, view[start:stop]):
            return False
        text += chunk.length if kind not in (b"IDAT", b"IHDR") else 0
        kinds.append(kind)
    if kinds[:1] != [b"IHDR"] or kinds[-1:] != [b"IEND"] or end != len(data) or text > _MOST_TEXT:
        return False
    runs = [kind for i, kind in enumerate(kinds[1:-1]) if kind != b"IDAT" or kinds[i] != b"IDAT"]
    return runs.count(b"IDAT") == 1 and set(runs) <= _HARMLESS | {b"IDAT"}


def _by_kornia(data: bytes, mode: str, size: tuple[int, int]) -> Image.Image | None:
    """Return the picture of `size` (width, height); None where kornia-rs is missing or fails."""
    kornia = fast_libraries.library(fast_libraries.DECODE)
    if kornia is None:
        return None
    try:
        pixels = kornia.io.decode_image_png_u8(data, size[::-1], mode.lower())
    except Exception:  # it has no class of its own for a file that it cannot read
        return None
    return Image.frombuffer(mode, size, pixels, "raw", mode, 0, 1)
