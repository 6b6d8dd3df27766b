"""Films made on the spot with PyAV, so that tests need no outside program."""

from __future__ import annotations

import os
from collections.abc import Sequence
from fractions import Fraction
from operator import sub
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]

Planes = list[NDArray[np.generic]]

MILLISECONDS = Fraction(1, 1000)


def pictures(count: int, size: tuple[int, int] = (64, 48)) -> list[Pixels]:
    """Each unlike the others, and unlike itself turned or mirrored: a bright corner, and a bar that moves."""
    made = []
    for number in range(count):
        pixels = np.zeros((size[1], size[0], 3), np.uint8)
        pixels[..., 1] = np.arange(size[0]) * 2
        pixels[: size[1] // 4, : size[0] // 4] = (255, 255, 255)
        pixels[size[1] // 2 :, number * 3 % size[0]] = (255, 0, number * 5 % 256)
        made.append(pixels)
    return made


def film(
    path: Path,
    drawn: Sequence[Pixels | Planes],
    *,
    layout: str = "rgb24",
    codec: str = "libx264rgb",
    stamps: Sequence[int] | None = None,
    last_ms: int = 40,
    keyframes: int = 12,
    options: dict[str, str] | None = None,
    about: dict[str, int] | None = None,
    aspect: Fraction | None = None,
    tags: dict[str, str] | None = None,
) -> Path:
    """`drawn`, RGB or the planes of `layout`, at `stamps` (ms; 25 a second by default), without loss by default.

    `about` are the codec's colour tags by ITU-T H.273's numbers.
    """
    stamps = stamps or [40 * number for number in range(len(drawn))]
    high, wide = drawn[0][0].shape if isinstance(drawn[0], list) else drawn[0].shape[:2]
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=1000)
        stream.width, stream.height = wide, high
        stream.pix_fmt = {"rgb24": "rgb24" if codec == "libx264rgb" else "yuv420p"}.get(layout, layout)
        context = stream.codec_context
        context.time_base = MILLISECONDS
        context.gop_size = keyframes
        context.options = {"qp": "0", "preset": "ultrafast"} if options is None else options
        for key, value in (about or {}).items():
            setattr(context, key, value)
        if aspect:
            context.sample_aspect_ratio = aspect
        stream.metadata.update(tags or {})
        lengths = dict(zip(stamps, map(sub, [*stamps[1:], stamps[-1] + last_ms], stamps), strict=True))
        frames: list[av.VideoFrame | None] = [_framed(picture, layout) for picture in drawn]
        for frame, stamp in zip([*frames, None], [*stamps, 0], strict=True):
            if frame:
                frame.pts, frame.time_base = stamp, MILLISECONDS
            for packet in stream.encode(frame):
                packet.duration = lengths[packet.pts]
                container.mux(packet)
    return path


def _framed(picture: Pixels | Planes, layout: str) -> av.VideoFrame:
    if not isinstance(picture, list):
        return av.VideoFrame.from_ndarray(picture, format=layout)
    frame = av.VideoFrame(picture[0].shape[1], picture[0].shape[0], layout)
    for plane, values in zip(frame.planes, picture, strict=True):
        rows = np.zeros((plane.height, plane.line_size), np.uint8)
        flat = np.ascontiguousarray(values).view(np.uint8)
        rows[:, : flat.shape[1]] = flat
        plane.update(rows.tobytes())
    return frame


def turned(film_file: bytes, matrix: tuple[int, int, int, int]) -> bytes:
    """An MP4 with a, b, c, d in its track header's matrix (ISO/IEC 14496-12, 8.3.2: tkhd, 16.16 fixed point)."""
    at = film_file.index(b"tkhd") + 4
    at += 40 if film_file[at] == 0 else 52
    a, b, c, d = ((value << 16).to_bytes(4, "big", signed=True) for value in matrix)
    nought, one = bytes(4), (1 << 30).to_bytes(4, "big")
    return film_file[:at] + a + b + nought + c + d + nought * 3 + one + film_file[at + 36 :]


def fatal(job: object) -> None:
    """A task that ends its worker, as a decoder's fault does."""
    os.abort()
