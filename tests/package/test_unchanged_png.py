"""Frames that need nothing keep the stream they came with, and lose their metadata."""

from __future__ import annotations

import io
import re
import struct
import subprocess
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.flatten.frame_source import Source
from keyturn.normalize.fit import Fit
from keyturn.package import unchanged_png
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.png import chunks
from keyturn.shop import rulebook

INTAKE = rulebook.load().intake
SIZE = (60, 80)


def art() -> Image.Image:
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    return Image.fromarray(np.stack([x * 4, y * 3, (x + y) % 7 * 9], -1).astype(np.uint8))


def squeezed(image: Image.Image, window: int = 15) -> bytes:
    """A stream as an optimiser leaves it: Pillow's filters, packed anew at zlib's best; in two IDATs."""
    data = saved(image, optimize=True)
    (raw,) = (zlib.decompress(data[c.start : c.stop]) for c in chunks.walk(io.BytesIO(data)) if c.kind == b"IDAT")
    worker = zlib.compressobj(9, zlib.DEFLATED, window, 9)
    stream = worker.compress(raw) + worker.flush()
    parts = [(b"IHDR", data[16:29]), (b"tIME", b"\x07\xea\x03\x01\x09\x1e\0"), (b"IDAT", stream[:50])]
    parts += [(b"IDAT", stream[50:]), (b"tEXt", b"Software\0a drawing program"), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in parts
    )


def saved(image: Image.Image, **how: object) -> bytes:
    file = io.BytesIO()
    image.save(file, "PNG", **how)
    return file.getvalue()


def stream(data: bytes) -> bytes:
    return b"".join(data[c.start : c.stop] for c in chunks.walk(io.BytesIO(data)) if c.kind == b"IDAT")


def file(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "0001.png"
    path.write_bytes(data)
    return path


def made(path: Path, bits: int = 24, size: tuple[int, int] = SIZE) -> bytes:
    look = Look(Fit(size), (0, 0, 0), bits, "png", 6.0, 40)
    return make_frame(FrameJob(Source(path, "0001.png"), look, INTAKE)).data


@pytest.mark.system
def test_the_stream_stays_and_the_rest_goes(tmp_path: Path, libraries: str, needs: Callable[[str], str]) -> None:
    data = squeezed(art())
    frame = made(file(tmp_path, data))
    assert stream(frame) == stream(data)
    (tmp_path / "made.png").write_bytes(frame)
    command = [needs("pngcheck"), "-v", tmp_path / "made.png"]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert re.findall(r"chunk (\w+) at", told) == ["IHDR", "IDAT", "IEND"]
    assert "24-bit RGB, non-interlaced" in told and "No errors detected" in told


def test_the_pixels_are_the_artists(tmp_path: Path, libraries: str) -> None:
    assert (np.asarray(Image.open(io.BytesIO(made(file(tmp_path, squeezed(art())))))) == np.asarray(art())).all()


def broken_behind(data: bytes) -> bytes:
    return data[:-1] + bytes([data[-1] ^ 1])


def test_what_would_lose_or_break_something_is_written_anew(tmp_path: Path, libraries: str) -> None:
    cases = {
        "wasteful": saved(art(), compress_level=0),
        "small window": squeezed(art(), window=9),
        "alpha": squeezed(art().convert("RGBA")),
        "grey": saved(art().convert("L"), optimize=True),
        "profile": saved(art(), optimize=True, icc_profile=b"no profile at all"),
        "litter behind": squeezed(art()) + b"\0",
        "checksum": broken_behind(squeezed(art())),
    }
    for name, data in cases.items():
        assert unchanged_png.untouched(file(tmp_path, data), art()) is None, name
    assert unchanged_png.untouched(file(tmp_path, squeezed(art())), art())


def test_a_frame_that_needs_anything_is_written_anew(tmp_path: Path, libraries: str) -> None:
    data = squeezed(art())
    path = file(tmp_path, data)
    assert stream(made(path, bits=16)) != stream(data)
    assert stream(made(path, size=(30, 40))) != stream(data)
    assert Image.open(io.BytesIO(made(path, size=(30, 40)))).size == (30, 40)


def test_a_copy_of_a_frame_comes_out_alike_under_its_own_name(tmp_path: Path) -> None:
    inks = art().convert("RGB")
    inks.info["icc_profile"] = b"no profile at all"
    (tmp_path / "a.png").write_bytes(saved(inks, icc_profile=b"no profile at all"))
    (tmp_path / "b.png").write_bytes((tmp_path / "a.png").read_bytes())
    look = Look(Fit(SIZE), (0, 0, 0), 24, "png", 6.0, 40)
    one, other = (make_frame(FrameJob(Source(tmp_path / n, n), look, INTAKE)) for n in ("a.png", "b.png"))
    assert one.data == other.data and one.digest == other.digest
    assert [r.file for r in one.reasons] == ["a.png"] and [r.file for r in other.reasons] == ["b.png"]
