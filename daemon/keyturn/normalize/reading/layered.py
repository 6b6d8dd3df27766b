"""Layered drawings (PSD and PSB): the flattened picture that the file holds beside its layers.

Three things are told from the file's sections: whether it has such a picture at all, whether the channel after the
colours is the picture's own transparency or a selection that was kept, and that half-clear colours are stored as they
look on white.
Sources: the PSD file format specification (image resource 1057, version info: the fifth byte says whether there is a
merged picture; a negative layer count: the first alpha channel is the merged picture's transparency). That colours
are matted with white stands in no specification; other converters undo the same.
"""

from __future__ import annotations

from typing import Any, BinaryIO

import numpy as np
from PIL import Image

from keyturn.normalize.reading import psd_sections
from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.psd_sections import Sections
from keyturn.shop.reasons import Refused, note, refuse
from keyturn.shop.rulebook import Intake

_PROFILE, _VERSION_INFO = 1039, 1057
_GREY, _INDEXED, _RGB, _INKS, _DUOTONE = 1, 2, 3, 4, 8
_COLOURS = {_GREY: 1, _INDEXED: 1, _RGB: 3, _INKS: 4, _DUOTONE: 1}
_NAMES = {_GREY: "grey", _INDEXED: "indexed colours", _RGB: "RGB", _INKS: "CMYK", _DUOTONE: "duotone"}


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Open the flattened picture, its header read.

    Raise `Refused` where there is none or its colours cannot be shown as they look, `Broken` where the file ends early.
    """
    found = psd_sections.read(file, (_PROFILE, _VERSION_INFO))
    header = found.header
    colours = _COLOURS.get(header.mode, 0)
    if header.bits not in (8, 16) or header.channels < colours or not colours:
        name = _NAMES.get(header.mode, "unusual colours")
        raise _refused("psd-kind", f"is a PSD of {header.bits} bits a channel in {name}, which is not taken")
    version = found.resources.get(_VERSION_INFO, b"")
    if len(version) > 4 and not version[4]:
        raise _refused("psd-layers-only", "was saved without its flattened picture: only layers are in it")
    clear = found.layers < 0 and header.channels > colours
    if clear and header.mode not in (_RGB, _GREY):
        raise _refused("psd-channels", f"is see-through and in {_NAMES[header.mode]}, which is not taken")
    flat = note("psd-flattened", "has layers; the flattened picture that is kept with them was used")
    return LibraryPicture(
        kind,
        header.size,
        _mode(found, clear),
        lambda _: _drawn(file, found, clear),
        info={"icc_profile": profile} if (profile := found.resources.get(_PROFILE)) else {},
        bits=header.bits,
        findings=(flat,) if found.layers else (),
    )


def _refused(code: str, what: str) -> Refused:
    mend = "save it as PNG, or as an RGB PSD of 8 or 16 bits with its flattened picture (most compatible)"
    return Refused([refuse(code, what, mend)])


def _mode(found: Sections, clear: bool) -> str:
    if clear:
        return "RGBA"
    return {_RGB: "RGB", _INKS: "CMYK", _INDEXED: "RGB"}.get(found.header.mode, "L")


def _drawn(file: BinaryIO, found: Sections, clear: bool) -> Image.Image:
    mode = found.header.mode
    pixels = psd_sections.picture(file, found, _COLOURS[mode] + clear)
    if mode == _INKS:
        return Image.frombytes("CMYK", found.header.size, (255 - pixels).tobytes())
    if clear:
        return Image.fromarray(off_white(pixels if mode == _RGB else pixels[..., [0, 0, 0, 1]]))
    if mode == _INDEXED:  # the palette is three rows of 256: the reds, the greens, the blues
        palette = np.frombuffer(found.palette[:768].ljust(768, b"\0"), np.uint8).reshape(3, 256).T
        return Image.fromarray(palette[pixels[..., 0]])
    return Image.fromarray(np.ascontiguousarray(pixels if mode == _RGB else pixels[..., 0]))


def off_white(pixels: np.ndarray[Any, np.dtype[np.uint8]]) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Return RGBA `pixels` as they were before they were laid on white.

    Solves shown = alpha x colour + (1 - alpha) x white for colour.
    """
    shown, alpha = pixels[..., :3].astype(np.float32), pixels[..., 3:].astype(np.float32)
    colour = 255 - (255 - shown) * 255 / np.maximum(alpha, 1)
    made = np.where(alpha > 0, np.clip(np.rint(colour), 0, 255), 0).astype(np.uint8)
    return np.concatenate([made, pixels[..., 3:]], axis=-1)
