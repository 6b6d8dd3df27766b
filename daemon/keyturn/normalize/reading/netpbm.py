"""PBM, PGM, PPM and PAM pictures, the plain kinds that many programs write between two steps.

Pillow reads no PAM, and scales 16-bit greys to other values than the format says: sample / largest sample.
Source: the Netpbm format descriptions (pbm(5), pgm(5), ppm(5), pam(5)).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.rulebook import Intake

_MODES = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}
_MOST_HEADER = 4096
_WORD = re.compile(rb"(?:\s|#[^\r\n]*[\r\n])*([^\s#]+)")
_DIGITS = re.compile(rb"[\d\s]*")
_MOST_LETTERS = 12
"""Letters that one number of a plain file takes at most, with the space around it; comments come on top."""


_AT_ONCE = 1 << 20
"""Samples that are scaled at a time: numpy makes 8 bytes of each on the way."""


@dataclass(frozen=True, slots=True)
class _Layout:
    """`start` is the first pixel's offset, `most` the largest sample. `plain`: samples are written as numbers."""

    size: tuple[int, int]
    channels: int
    most: int
    start: int
    plain: bool = False
    bitmap: bool = False

    @property
    def samples(self) -> int:
        return self.size[0] * self.size[1] * self.channels


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Open the picture, its header read. Raise `Broken` where the header makes no sense."""
    file.seek(0)
    layout = _layout(file.read(_MOST_HEADER))
    bits = 1 if layout.bitmap else 16 if layout.most > 255 else 8
    return LibraryPicture(kind, layout.size, _MODES[layout.channels], lambda _: _decoded(file, layout), bits=bits)


def _layout(head: bytes) -> _Layout:
    magic = head[:2]
    layout = _pam(head) if magic == b"P7" else _pnm(head, int(magic[1:]))
    if min(layout.size) < 1 or not 0 < layout.most < 65536 or layout.channels not in _MODES:
        raise Broken("says nonsense in its header")
    return layout


def _pnm(head: bytes, number: int) -> _Layout:
    bitmap = number in (1, 4)
    at, numbers = 2, []
    for _ in range(2 if bitmap else 3):
        found = _WORD.match(head, at)
        if found is None or not found[1].isdigit() or len(found[1]) > 9:
            raise Broken("says nonsense in its header")
        numbers.append(int(found[1]))
        at = found.end()
    most = 1 if bitmap else numbers[2]
    return _Layout((numbers[0], numbers[1]), 3 if number in (3, 6) else 1, most, at + 1, number < 4, bitmap)


def _pam(head: bytes) -> _Layout:
    said, end, _ = head.partition(b"ENDHDR\n")
    if not end:
        raise Broken("has no end of its header")
    words = dict(line.split(None, 1) for line in said.splitlines()[1:] if len(line.split(None, 1)) == 2)
    wide, high, channels, most = (int(words[key]) for key in (b"WIDTH", b"HEIGHT", b"DEPTH", b"MAXVAL"))
    return _Layout((wide, high), channels, most, len(said) + len(end))


def _decoded(file: BinaryIO, layout: _Layout) -> Image.Image:
    file.seek(layout.start)
    if layout.plain:
        values = _numbers(file, layout)
    elif layout.bitmap:
        values = _bits(file, layout)
    else:
        values = np.frombuffer(_exactly(file, layout.samples * (1 + (layout.most > 255))), _sample_type(layout))
    if layout.bitmap:
        values = 1 - values  # 1 is black
    wide, high = layout.size
    shape = (high, wide, layout.channels) if layout.channels > 1 else (high, wide)
    return Image.fromarray(_to_8_bits(values, layout.most).reshape(shape))


def _sample_type(layout: _Layout) -> str:
    return ">u2" if layout.most > 255 else "u1"


def _exactly(file: BinaryIO, length: int) -> bytes:
    data = file.read(length)
    if len(data) < length:
        raise Broken("breaks off")
    return data


def _bits(file: BinaryIO, layout: _Layout) -> NDArray[Any]:
    wide, high = layout.size
    row = (wide + 7) // 8
    return np.unpackbits(np.frombuffer(_exactly(file, row * high), np.uint8).reshape(high, row), axis=1)[:, :wide]


def _numbers(file: BinaryIO, layout: _Layout) -> NDArray[Any]:
    """Return the samples of a plain file. Those of a bitmap need no space between them."""
    text = re.sub(rb"#[^\r\n]*", b"", file.read(layout.samples * _MOST_LETTERS + _MOST_HEADER))
    if layout.bitmap:
        values = np.frombuffer(re.sub(rb"\s", b"", text)[: layout.samples], np.uint8).astype(np.int64) - ord("0")
    else:
        digits = _DIGITS.match(text)[0].decode("ascii")  # type: ignore[index]
        values = np.fromstring(digits, np.int64, sep=" ") if digits.strip() else np.empty(0, np.int64)
    if len(values) < layout.samples:
        raise Broken("breaks off")
    values = values[: layout.samples]
    if values.min() < 0 or values.max() > layout.most:
        raise Broken("has a value that is none")
    return values


def _to_8_bits(values: NDArray[Any], most: int) -> NDArray[np.uint8]:
    """Return round(255 v / most); a value above `most` counts as `most`."""
    if most == 255:
        return values.astype(np.uint8)
    every = np.minimum(np.arange(65536, dtype=np.int64), most)
    table = ((every * 255 + most // 2) // most).astype(np.uint8)
    flat = values.reshape(-1)
    made = np.empty(len(flat), np.uint8)
    for at in range(0, len(flat), _AT_ONCE):
        made[at : at + _AT_ONCE] = table[flat[at : at + _AT_ONCE]]
    return made
