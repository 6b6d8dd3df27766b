"""Pictures read safely: what a file is, from its header alone, and its pixels within the shop's limits.

The file's contents decide what it is, never its name. Whatever a decoder raises over garbage becomes `Refused` in
the artist's words. Faults of the shop's own disk come through as the OSError they are.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import BinaryIO

from PIL import Image, ImageChops, ImageFile, UnidentifiedImageError

from keyturn.normalize.reading import (
    bit_depth,
    bitmaps,
    clip_frames,
    declared_colours,
    drawings,
    films,
    headers,
    jpeg_2000,
    kinds,
    layered,
    netpbm,
    photos,
    picture_faults,
    qoi,
    targa,
    tiffs,
)
from keyturn.normalize.reading.clip_frames import ClipStructure
from keyturn.normalize.reading.pillow_limits import reading
from keyturn.normalize.reading.probe import Probe, described, stop_beyond_limits, with_name
from keyturn.shop.reasons import Reason, Refused, ShopFault, refuse
from keyturn.shop.rulebook import Intake

_READERS = {
    "BMP": bitmaps.opened,
    "HEIC": photos.opened,
    "AVIF": photos.avif,
    "SVG": drawings.opened,
    "PSD": layered.opened,
    "TGA": targa.opened,
    "PPM": netpbm.opened,
    "JPEG2000": jpeg_2000.opened,
    "QOI": qoi.opened,
    "TIFF": tiffs.opened,
    **dict.fromkeys(kinds.FILMS, films.opened),
}
"""What opens the kinds that Pillow cannot open, or gets wrong."""

_PLUGINS = {"WEBP": "WebPImagePlugin", "ICO": "IcoImagePlugin"}
"""Pillow's plugins, beside the common ones of `Image.preinit`, for kinds that the rules which ship take."""

_START = 512
"""Bytes that tell a file's kind."""


def probe(path: Path, intake: Intake, *, name: str) -> Probe:
    """Return what `path` is, without decoding it; `name` is its path in the drop, for the reasons.

    Raise `Refused`: empty, not a picture, a kind that is not taken, broken off (where the format says so
    before its pixels do), too many pixels or frames. Raise OSError as it comes from the shop's disk.
    """
    with path.open("rb") as file, reading(name, intake.caps.picture_mpx):
        structure = walked(file, intake)
        found = described(opened(file, intake), structure)
        stop_beyond_limits(found, intake)
    return with_name(found, name)


def load(path: Path, intake: Intake, *, name: str) -> Image.Image:
    """Return the decoded picture (a clip's first), in its own colours, with its EXIF and profile in `info`.

    Raise `Refused` where the picture cannot be decoded, OSError as it comes from the shop's disk.
    """
    with path.open("rb") as file, reading(name, intake.caps.picture_mpx):
        return decoded(opened(file, intake), lambda: opened(file, intake))


# -- steps, for use within `reading` ----------------------------------------------------------------


def walked(file: BinaryIO, intake: Intake) -> ClipStructure | None:
    """Return the file's structure, where its kind is taken and has one. Raise `Broken`."""
    file.seek(0)
    kind = kinds.of(file.read(_START))
    return clip_frames.walk(file, kind, intake.caps.frames) if kind in _taken(intake) else None


def opened(file: BinaryIO, intake: Intake) -> ImageFile.ImageFile:
    """Open the file as one of the kinds that are taken, its header read. Raise `Refused` for any other."""
    taken = _taken(intake)
    file.seek(0)
    start = file.read(_START)
    if not start:
        raise Refused([refuse("picture-empty", "is empty (0 bytes)", "copy it again")])
    kind = kinds.of(start)
    if kind in _READERS and kind in taken:
        return _capped(_READERS[kind](file, kind, intake), intake)
    try:
        image = Image.open(file, formats=[one for one in taken if one not in _READERS])
    except UnidentifiedImageError as error:
        raise Refused([_unknown(file, taken)]) from error
    if kind == "PNG" and (profile := declared_colours.profile(file)):
        image.info["icc_profile"] = profile
    return image


def decoded(image: ImageFile.ImageFile, again: Callable[[], ImageFile.ImageFile]) -> Image.Image:
    """Return the pixels of an opened picture, 16-bit samples rounded to 8; `again` opens it once more."""
    if deep := bit_depth.rounded(image, again):
        return deep
    bit_depth.scale_key(image)
    image.load()
    if image.format in ("JPEG", "MPO") and image.mode == "CMYK" and _APP14 not in image.info:
        # Pillow takes the inks of every CMYK JPEG as inverted. They are so only in files with an APP14 marker
        # (libjpeg's libjpeg.txt, "Special color spaces").
        plain = ImageChops.invert(image)
        plain.info = image.info
        return plain
    return image


_APP14 = "adobe"
"""Pillow's key in `info` for a JPEG's APP14 marker."""


def _capped(image: ImageFile.ImageFile, intake: Intake) -> ImageFile.ImageFile:
    """Return `image`. Raise `Refused` where it has too many pixels: the readers above set no limit themselves."""
    if (mpx := image.width * image.height / 1e6) > intake.caps.picture_mpx:
        raise Refused([picture_faults.too_large(mpx, intake.caps.picture_mpx)])
    return image


def _taken(intake: Intake) -> tuple[str, ...]:
    """Return the kinds that intake.toml takes. Raise `ShopFault` where it names a kind that nothing here reads."""
    formats = tuple(dict.fromkeys(f.upper() for f in (*intake.formats.stills, *intake.formats.clips)))
    if strange := _unknown_to_pillow(tuple(f for f in formats if f not in _READERS)):
        known = ", ".join(sorted(kinds.ENDINGS))
        raise ShopFault(f"intake.toml: [formats] names {', '.join(strange)}", f"name some of: {known}")
    return formats


@cache
def _unknown_to_pillow(formats: tuple[str, ...]) -> tuple[str, ...]:
    """Return which of the formats Pillow cannot open. Its plugins for the others are imported.

    All its plugins are asked only where one of the usual is not enough: that takes every worker 25 ms.
    """
    Image.preinit()
    for plugin in (_PLUGINS[f] for f in formats if f in _PLUGINS):
        import_module(f"PIL.{plugin}")
    if any(f not in Image.OPEN for f in formats):
        Image.init()
    return tuple(f for f in formats if f not in Image.OPEN)


def _unknown(file: BinaryIO, taken: tuple[str, ...]) -> Reason:
    """Return the reason for a file that Pillow does not know."""
    file.seek(0)
    start = file.read(1 << 18)  # a JPEG's frame header stands behind its EXIF and profile
    kind = kinds.of(start[:_START])
    frame = headers.header(start) if kind == "JPEG" and kind in taken else None
    if frame and frame.bits > 8:
        what = f"is a JPEG of {frame.bits} bits a channel, which is not read here"
        return refuse("picture-layout", what, "export it with 8 bits a channel, or as PNG")
    if kind in taken:
        return picture_faults.broken("begins well and cannot be read")
    if kind:
        return picture_faults.not_taken(kind, taken)
    mend = f"put a picture here; taken are {', '.join(taken)}"
    return refuse("picture-unknown", "is not a picture of any known kind", mend)
