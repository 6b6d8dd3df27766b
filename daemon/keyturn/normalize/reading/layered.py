"""Layered drawings (PSD): the flattened picture that the file holds beside its layers.

Pillow reads that picture. Three things Pillow does not know are read here: whether the file has one at all, whether
its fourth channel is the picture's own transparency, and that half-clear colours are stored as they look on white.
Sources: the PSD file format specification (image resource 1057, version info: the fifth byte says whether there is a
merged picture; a negative layer count: the first alpha channel is the merged picture's transparency). That colours
are matted with white stands in no specification; other converters undo the same.
"""

from __future__ import annotations

import struct
from typing import Any, BinaryIO

import numpy as np
from PIL import Image

from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.reasons import Refused, note, refuse
from keyturn.shop.rulebook import Intake

_VERSION_INFO = 1057
_TAKEN = {1: "grey", 2: "indexed", 3: "RGB", 4: "CMYK", 8: "duotone"}
_RGB = 3


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Open the flattened picture, its header read.

    Raise `Refused` where there is none or its colours cannot be shown as they look, `Broken` where the file ends early.
    """
    file.seek(0)
    channels, bits, mode = _header(file.read(26))
    if bits != 8 or mode not in _TAKEN:
        colours = _TAKEN.get(mode, "unusual colours")
        raise _refused("psd-kind", f"is a PSD of {bits} bits a channel in {colours}, which is not taken")
    image: Any = Image.open(file, formats=["PSD"])
    if _is_without_picture(image.resources):
        raise _refused("psd-layers-only", "was saved without its flattened picture: only layers are in it")
    layers = _layer_count(file)
    clear = layers < 0
    if clear and (mode, channels) != (_RGB, 4):
        raise _refused("psd-channels", "is see-through and has channels beside red, green, blue and that one")
    flat = note("psd-flattened", "has layers; the flattened picture that is kept with them was used")
    return LibraryPicture(
        kind,
        image.size,
        "RGBA" if clear else "RGB" if mode == _RGB else image.mode,
        lambda _: _drawn(image, clear),
        info={key: value for key, value in image.info.items() if key == "icc_profile"},
        findings=(flat,) if layers else (),
    )


def _refused(code: str, what: str) -> Refused:
    mend = "save it as PNG, or as an 8-bit RGB PSD with its flattened picture (most compatible)"
    return Refused([refuse(code, what, mend)])


def _header(start: bytes) -> tuple[int, int, int]:
    """Return the number of channels, the bits of one, and the colour mode."""
    if len(start) < 26:
        raise Broken("breaks off")
    channels, _, _, bits, mode = struct.unpack(">HIIHH", start[12:])
    return channels, bits, mode


def _is_without_picture(resources: list[tuple[int, bytes, bytes]]) -> bool:
    found = next((data for number, _, data in resources if number == _VERSION_INFO), b"")
    return len(found) > 4 and not found[4]


def _layer_count(file: BinaryIO) -> int:
    """Return the layer count as stored: 0 without layers, negative where the flattened picture is see-through."""
    file.seek(26)
    for _ in ("colour mode data", "image resources"):
        (length,) = struct.unpack(">I", file.read(4))
        file.seek(length, 1)
    section, layers = struct.unpack(">II", file.read(8).ljust(8, b"\0"))
    return int(struct.unpack(">h", file.read(2))[0]) if section and layers else 0


def _drawn(image: Image.Image, clear: bool) -> Image.Image:
    image.load()
    if not clear:
        return image.convert("RGB") if image.mode == "RGBA" else image
    return Image.fromarray(off_white(np.asarray(image)))


def off_white(pixels: np.ndarray[Any, np.dtype[np.uint8]]) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Return RGBA `pixels` as they were before they were laid on white.

    Solves shown = alpha x colour + (1 - alpha) x white for colour.
    """
    shown, alpha = pixels[..., :3].astype(np.float32), pixels[..., 3:].astype(np.float32)
    colour = 255 - (255 - shown) * 255 / np.maximum(alpha, 1)
    made = np.where(alpha > 0, np.clip(np.rint(colour), 0, 255), 0).astype(np.uint8)
    return np.concatenate([made, pixels[..., 3:]], axis=-1)
