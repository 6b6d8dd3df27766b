"""Stock animations as radios come with them, in the shapes that FORMAT's facts describe; each is made on the spot."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

SIZE = (48, 64)


def noise(size: tuple[int, int] = SIZE, seed: int = 0) -> Image.Image:
    """A picture that no format makes small, so that the limits seen leave room for a calm job."""
    rng = np.random.default_rng(seed)
    return Image.fromarray(rng.integers(60, 90, (size[1], size[0], 3), dtype=np.uint8))


def encoded(picture: Image.Image, kind: str = "PNG", **how: Any) -> bytes:
    file = io.BytesIO()
    picture.save(file, kind, **how)
    return file.getvalue()


def with_header(png: bytes, *, interlace: int = 0, bits: int = 8) -> bytes:
    """The PNG with another interlace method or depth in IHDR (PNG specification 11.2.2), and its CRC."""
    ihdr = png[12:24] + bytes([bits]) + png[25:28] + bytes([interlace])
    return png[:12] + ihdr + struct.pack(">I", zlib.crc32(ihdr)) + png[33:]


@dataclass(frozen=True)
class Stock:
    """A stock animation: rows of desc.txt, for each part its files by name, and what a look at it must find."""

    rows: tuple[str, ...]
    parts: dict[str, dict[str, bytes]]
    fps: int = 12
    wanted: dict[str, Any] = field(default_factory=dict)

    def write(self, path: Path, size: tuple[int, int] = SIZE) -> Path:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
            lines = [f"{size[0]} {size[1]} {self.fps}", *self.rows]
            archive.writestr(zipfile.ZipInfo("desc.txt"), "".join(f"{line}\n" for line in lines))
            for folder, files in self.parts.items():
                for name, data in files.items():
                    archive.writestr(zipfile.ZipInfo(f"{folder}/{name}"), data)
        return path


def frames(count: int = 8, kind: str = "PNG", ending: str = "png", **how: Any) -> dict[str, bytes]:
    return {f"{n:04}.{ending}": encoded(noise(seed=n), kind, **how) for n in range(1, count + 1)}


MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\nstock = true\n'


def stock_drop(folder: Path, *, seed: int = 1, manifest: str = MANIFEST) -> Path:
    """A drop of stock files; `seed` makes another logo."""
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text(manifest, encoding="utf-8")
    STOCKS["plain"].write(folder / "bootanimation.zip")
    (folder / "stock-logo.png").write_bytes(encoded(noise(seed=seed)))
    return folder


def _palette(count: int = 8) -> dict[str, bytes]:
    return {f"{n:04}.png": encoded(noise(seed=n).quantize(200)) for n in range(1, count + 1)}


def _trimmed(count: int = 8) -> dict[str, bytes]:
    cropped = {f"{n:04}.png": encoded(noise((40, 50), n)) for n in range(1, count + 1)}
    return cropped | {"trim.txt": b"40x50+4+7\n" * count}


ONCE, LOOP = "p 1 0 part0", "p 0 0 part1"
STOCKS: dict[str, Stock] = {
    "plain": Stock((ONCE, LOOP), {"part0": frames(), "part1": frames(4)}),
    "jpeg": Stock(
        (ONCE, LOOP),
        {"part0": frames(24, "JPEG", "jpg", quality=95), "part1": frames(4, "JPEG", "jpg", quality=95)},
        wanted={"formats": ("jpeg",)},
    ),
    "both formats": Stock(
        (ONCE, LOOP), {"part0": frames(8, "JPEG", "jpg"), "part1": frames(4)}, wanted={"formats": ("png", "jpeg")}
    ),
    "palette": Stock((ONCE, LOOP), {"part0": _palette(), "part1": _palette(4)}, wanted={"palette": True}),
    "interlaced": Stock(
        (ONCE, LOOP),
        {
            "part0": {name: with_header(data, interlace=1) for name, data in frames().items()},
            "part1": frames(4),
        },
        wanted={"interlaced": True},
    ),
    "16 bits a channel": Stock(  # blank on the fourth generation
        (ONCE, LOOP),
        {"part0": {name: with_header(data, bits=16) for name, data in frames().items()}, "part1": frames(4)},
        wanted={"deep": True, "generations": ("first", "second", "third")},
    ),
    "trimmed": Stock(  # trim.txt is known from the third generation on
        (ONCE, LOOP),
        {"part0": _trimmed(), "part1": _trimmed(4)},
        wanted={"trim": True, "generations": ("third", "fourth")},
    ),
    "trimmed on colours": Stock(
        (f"{ONCE} #102030", f"{LOOP} #102030"),
        {"part0": _trimmed(), "part1": _trimmed(4)},
        wanted={"trim": True, "row_colour": True, "generations": ("third", "fourth")},
    ),
    "row colours": Stock(
        (f"{ONCE} #102030", LOOP), {"part0": frames(), "part1": frames(4)}, wanted={"row_colour": True}
    ),
    "c parts": Stock(  # the first generation drops them
        ("c 1 0 part0", LOOP, "c 1 0 part2"),
        {"part0": frames(), "part1": frames(4), "part2": frames(2)},
        wanted={"types": ("p", "c"), "generations": ("second", "third", "fourth")},
    ),
    "f parts": Stock(
        (ONCE, "f 0 0 part1 8"),
        {"part0": frames(), "part1": frames(4)},
        wanted={"types": ("p", "f"), "generations": ("second", "third", "fourth")},
    ),
    "many parts": Stock(
        (*(f"p {n % 3 + 1} {n % 2} part{n}" for n in range(12)), "p 0 4 part12"),
        {f"part{n}": frames(2) for n in range(13)},
        fps=24,
        wanted={"plays": 3, "pauses": True, "fps": 24},
    ),
    "many plays": Stock(("p 15 0 part0", LOOP), {"part0": frames(4), "part1": frames(4)}, wanted={"plays": 15}),
    "loop alone": Stock(("p 0 0 part0",), {"part0": frames(12)}, fps=15, wanted={"plays": 0, "fps": 15}),
    "indented row": Stock(  # dropped by the first and the fourth
        (ONCE, " p 0 0 part1"),
        {"part0": frames(), "part1": frames(4)},
        wanted={"generations": ("second", "third")},
    ),
}
