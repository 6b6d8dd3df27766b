"""What a zip costs the radio: bytes to read, time to decode a frame, texture memory."""

from __future__ import annotations

import ctypes
import ctypes.util
import io
import statistics
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from keyturn.radio.memory import Texture, texture_bytes
from keyturn.shop.radio_profile import Radio


@dataclass(frozen=True, slots=True)
class Load:
    """Of one zip: KB (1000 bytes) and milliseconds of this machine's processor a frame; MiB of textures in all."""

    kb: float
    decode_ms: float
    texture_mib: float


class _PngImage(ctypes.Structure):
    """png_image of libpng's simplified interface (libpng manual, section V)."""

    _fields_ = [
        ("opaque", ctypes.c_void_p),
        *[(name, ctypes.c_uint32) for name in ("version", "width", "height", "format", "flags", "colours", "failed")],
        ("message", ctypes.c_char * 64),
    ]


def _by_libpng() -> Callable[[bytes], None] | None:
    name = ctypes.util.find_library("png16")
    if name is None:
        return None
    libpng = ctypes.CDLL(name)

    def decode(data: bytes) -> None:
        image = _PngImage(version=1)
        assert libpng.png_image_begin_read_from_memory(ctypes.byref(image), data, ctypes.c_size_t(len(data)))
        image.format = 2  # PNG_FORMAT_RGB
        pixels = ctypes.create_string_buffer(3 * image.width * image.height)
        assert libpng.png_image_finish_read(ctypes.byref(image), None, pixels, 0, None), image.message

    return decode


def _by_pillow(data: bytes) -> None:
    Image.open(io.BytesIO(data)).load()


LIBPNG = _by_libpng()
DECODERS = f"PNG by {'libpng' if LIBPNG else 'Pillow, for libpng was not found'}, JPEG by Pillow's libjpeg-turbo"


def frames(zip_path: Path) -> list[bytes]:
    with zipfile.ZipFile(zip_path) as pack:
        return [pack.read(name) for name in sorted(pack.namelist())]


def load(zip_path: Path, radio: Radio) -> Load:
    """A radio's processor is slower than this one; the ratios are what matters."""
    files = frames(zip_path)
    times = []
    for data in files:
        decode = LIBPNG if LIBPNG and data.startswith(b"\x89PNG") else _by_pillow
        start = time.process_time()
        decode(data)
        times.append(time.process_time() - start)
    width, height = Image.open(io.BytesIO(files[0])).size
    texture = len(files) * texture_bytes(Texture(width, height), radio.player) / 2**20
    return Load(zip_path.stat().st_size / len(files) / 1000, statistics.median(times) * 1000, texture)


def decibels(zip_path: Path, other: Path) -> float:
    """How near the two zips' frames are (peak signal to noise ratio of the first, a middle and the last)."""
    ours, theirs = frames(zip_path), frames(other)
    assert len(ours) == len(theirs), f"{zip_path}: {len(ours)} frames, not {len(theirs)}"
    apart = [_pixels(ours[i]) - _pixels(theirs[i]) for i in (0, len(ours) // 2, -1)]
    return float(10 * np.log10(255**2 / max(1e-6, np.mean(np.square(apart)))))


def _pixels(data: bytes) -> NDArray[np.float32]:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(np.float32)
