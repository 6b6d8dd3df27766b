"""QOI pictures, through FFmpeg where the shop reads films, else through Pillow, which takes a hundred times as long.

Source: the Quite OK Image Format specification 1.0.
"""

from __future__ import annotations

import struct
from typing import BinaryIO

from PIL import Image

from keyturn.normalize.reading.decoded_elsewhere import LibraryPicture
from keyturn.normalize.reading.picture_faults import Broken
from keyturn.shop.rulebook import Intake

_END = bytes(7) + b"\1"
_MODES = {3: "RGB", 4: "RGBA"}


def opened(file: BinaryIO, kind: str, intake: Intake) -> LibraryPicture:
    """Open the picture, its header read. Raise `Broken` where the header makes no sense."""
    file.seek(0)
    head = file.read(14)
    if len(head) < 14:
        raise Broken("breaks off")
    wide, high, channels = struct.unpack(">IIB", head[4:13])
    if not wide or not high or channels not in _MODES:
        raise Broken("says nonsense in its header")
    mode, size = _MODES[channels], (wide, high)
    return LibraryPicture(kind, size, mode, lambda _: _decoded(file, size, mode))


def _decoded(file: BinaryIO, size: tuple[int, int], mode: str) -> Image.Image:
    file.seek(0)
    data = file.read()
    if _END not in data[14:]:
        raise Broken("breaks off")
    return _by_ffmpeg(data, size, mode) or _by_pillow(file)


def _by_ffmpeg(data: bytes, size: tuple[int, int], mode: str) -> Image.Image | None:
    """Return the picture; None where FFmpeg is not there or gives up."""
    try:
        import av
    except ImportError:
        return None
    decoder = av.CodecContext.create("qoi", "r")
    decoder.thread_count = 1
    try:
        frames = decoder.decode(av.Packet(data))
    except av.FFmpegError:
        return None
    if not frames or (frames[0].width, frames[0].height) != size:
        return None
    return Image.fromarray(frames[0].to_ndarray(format="rgb24" if mode == "RGB" else "rgba"))


def _by_pillow(file: BinaryIO) -> Image.Image:
    file.seek(0)
    return Image.open(file, formats=["QOI"])
