"""Odd files by other hands: ImageMagick, FFmpeg and tifffile, where they are installed."""

from __future__ import annotations

import io
import itertools
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from odd.marker import ALPHA, COLOURS, GREYS, Odd, shown, spread

SIZE = (66, 88)

_BY_MAGICK = {
    "tiff": [
        *(f"-compress {way}" for way in ("None", "LZW", "Zip", "RLE", "ZSTD", "LZMA")),
        "-compress JPEG -quality 95",
        "-compress LZW -define tiff:predictor=2",
        "-endian MSB -depth 16 -compress Zip",
        "-endian MSB -compress LZW -define tiff:predictor=2 -depth 16",
        "-interlace plane -compress Zip",
        "-interlace plane -depth 16 -compress LZW",
        "-interlace plane -depth 16 -compress None",
        "-define tiff:tile-geometry=32x32 -compress Zip",
        "-define tiff:rows-per-strip=3 -compress LZW",
        "-define quantum:format=floating-point -depth 32 -compress None",
        "-define tiff:fill-order=lsb -compress None",
        "-colors 12 -type Palette -compress LZW",
        "-set units PixelsPerInch -density 300x150",
    ],
    "png": ["-depth 16", "-interlace PNG", "-define png:color-type=3", "-define png:format=png48", "-quality 05"],
    "bmp": [*(f"-define bmp:format=bmp{number}" for number in (2, 3, 4)), "-colors 12 -type Palette"],
    "gif": ["-interlace GIF", "-colors 12", "-dispose Background"],
    "jpg": [
        *(f"-quality 92 -sampling-factor {way}" for way in ("1x1", "2x1", "1x2", "2x2", "4x1", "4x2")),
        "-quality 92 -interlace Plane",
        "-quality 92 -colorspace CMYK",
        "-quality 92 -define jpeg:optimize-coding=off",
    ],
    **{key: ["-compress None", "-compress RLE", "-depth 16 -compress RLE"] for key in ("psd", "psb")},
    **{key: ["-depth 8", "-depth 16", "-compress None"] for key in ("ppm", "pam")},
    "webp": ["-define webp:lossless=true", "-quality 92", "-quality 92 -define webp:method=0"],
}

_BY_FFMPEG = {
    "png": ["rgb24", "rgba", "rgb48be", "rgba64be", "gray", "ya8", "gray16be", "ya16be", "monob", "pal8"],
    "tiff": ["rgb24", "rgb48le", "rgba", "rgba64le", "gray", "ya8", "gray16le", "ya16le", "pal8", "monob", "monow"],
    "bmp": ["bgra", "bgr24", "rgb565le", "rgb555le", "rgb8", "bgr8", "gray", "pal8", "monob"],
    "gif": ["rgb8", "bgr8", "gray", "pal8"],
    "jpg": ["yuvj420p", "yuvj422p", "yuvj444p"],
    "apng": ["rgb24", "rgba", "rgb48be", "gray", "pal8"],
    "tga": ["bgr24", "bgra", "gray", "rgb555le"],
    "ppm": ["rgb24", "rgb48be"],
    "pam": ["rgb24", "rgba", "rgba64be", "gray", "ya8", "gray16be"],
    "qoi": ["rgb24", "rgba"],
    "jp2": ["rgb24", "rgba", "gray", "ya8"],
    "webp": ["bgra", "yuv420p", "yuva420p"],
}
_APART = {"rgb8": 60, "bgr8": 60, "rgb565le": 8, "rgb555le": 10, "pal8": 6, "yuv420p": 22, "yuva420p": 22}
_ONE_BIT = ("monob", "monow")


def files() -> Iterator[Odd]:
    with tempfile.TemporaryDirectory(prefix="keyturn-odd-") as place:
        scene = Path(place) / "scene.png"
        Image.fromarray(spread(COLOURS, SIZE)).save(scene)
        if shutil.which("convert"):
            yield from _by_magick(scene)
        if shutil.which("ffmpeg"):
            yield from _by_ffmpeg(scene)
    yield from _by_tifffile()


def _by_magick(scene: Path) -> Iterator[Odd]:
    for ending, ways in _BY_MAGICK.items():
        for number, way in enumerate(ways):
            out = scene.with_name(f"m{number}.{ending}")
            done = subprocess.run(["convert", str(scene), *way.split(), str(out)], capture_output=True)
            if done.returncode == 0:
                expect = "either" if "floating-point" in way else "made"
                lossy = "quality" in way and ending != "png"
                yield Odd(f"{_family(ending)}-magick{number}", out.read_bytes(), (shown(COLOURS),), expect,  # type: ignore[arg-type]
                          22 if lossy else 4)  # fmt: skip


def _by_ffmpeg(scene: Path) -> Iterator[Odd]:
    grey = shown(np.round(COLOURS @ [0.299, 0.587, 0.114]))  # ITU-R BT.601, FFmpeg's way to grey
    for ending, formats in _BY_FFMPEG.items():
        for way in formats:
            out = scene.with_name(f"f-{way}.{ending}")
            command = ["ffmpeg", "-v", "error", "-y", "-i", str(scene), "-frames:v", "1", "-pix_fmt", way, str(out)]
            done = subprocess.run(command, capture_output=True)
            if done.returncode == 0 and out.exists():
                wanted = grey if way.startswith(("gray", "ya")) else shown(COLOURS)
                expect = "any" if way in _ONE_BIT else "made"
                apart = _APART.get(way, 22 if ending == "jpg" else 5)
                yield Odd(f"{_family(ending)}-ffmpeg-{way}", out.read_bytes(), (wanted,), expect, apart)  # type: ignore[arg-type]


def _family(ending: str) -> str:
    return "jpeg" if ending == "jpg" else ending


def _by_tifffile() -> Iterator[Odd]:
    """Comes with scikit-image: an independent writer, of BigTIFF too."""
    import tifffile

    rgb, grey, alpha = (spread(blocks, SIZE) for blocks in (COLOURS, GREYS, ALPHA[..., None]))
    scenes = [("rgb", "rgb", rgb, shown(COLOURS)), ("grey", "minisblack", grey, shown(GREYS))]
    scenes += [("white", "miniswhite", 255 - grey, shown(GREYS))]
    scenes += [("rgba", "rgb", np.concatenate([rgb, alpha], -1), shown(COLOURS, ALPHA))]
    layouts = itertools.product((False, True), "<>", (None, "zlib"), (8, 16), (None, (32, 32)), (False, True))
    for big, order, compression, bits, tile, planar in layouts:
        for name, photometric, pixels, looks in scenes:
            if planar and pixels.ndim == 2:
                continue
            samples = pixels.astype(np.uint16) * 257 if bits == 16 else pixels
            how: dict[str, Any] = {"extrasamples": ["unassalpha"]} if name == "rgba" else {}
            if planar:
                samples = np.moveaxis(samples, -1, 0)
                how["planarconfig"] = "separate"
            file = io.BytesIO()
            tifffile.imwrite(
                file, samples, bigtiff=big, byteorder=order, compression=compression, tile=tile,
                photometric=photometric, **how,
            )  # fmt: skip
            tag = f"{'big' if big else ''}{'II' if order == '<' else 'MM'}{bits}{compression or ''}"
            odd = f"tiff-tifffile-{name}{tag}{'tile' if tile else ''}{'planes' if planar else ''}"
            yield Odd(odd, file.getvalue(), (looks,), "either" if planar and tile else "made")
