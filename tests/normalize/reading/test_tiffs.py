"""TIFF layouts that Pillow misreads, against tifffile (who writes them) and ImageMagick (who reads them)."""

from __future__ import annotations

import io
import struct
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile  # comes with scikit-image: an independent writer
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize.reading import stills
from keyturn.normalize.srgb import to_srgb
from keyturn.shop import fast_libraries, rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
DEEP = np.random.default_rng(8).integers(0, 65536, (31, 20, 4)).astype(np.uint16)
ROUNDED = np.floor(DEEP.astype(float) * 255 / 65535 + 0.5)
"""PNG specification, third edition, 12.4: the accurate way from 16 bits to 8."""


@pytest.fixture
def lay(tmp_path: Path) -> Callable[..., Path]:
    def write(samples: NDArray[np.generic], **how: object) -> Path:
        tifffile.imwrite(tmp_path / "a.tif", samples, **how)
        return tmp_path / "a.tif"

    return write


def read(path: Path) -> NDArray[np.uint8]:
    return np.asarray(to_srgb(stills.load(path, INTAKE, name="a.tif"))[0])


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_deep_colour_in_separate_planes(lay: Callable[..., Path], order: str, compression: str | None) -> None:
    path = lay(
        np.moveaxis(DEEP[..., :3], -1, 0), photometric="rgb", planarconfig="separate", byteorder=order,
        compression=compression,
    )  # fmt: skip
    found = stills.probe(path, INTAKE, name="a.tif")
    assert (found.format, found.size, found.bits) == ("TIFF", (20, 31), 16)
    assert np.abs(read(path) - ROUNDED[..., :3]).max() <= (0 if compression is None else 1)


@pytest.mark.parametrize("order", ["<", ">"])
def test_white_as_nought_at_sixteen_bits(lay: Callable[..., Path], order: str) -> None:
    # TIFF 6.0, PhotometricInterpretation: WhiteIsZero, 0 is imaged as white.
    path = lay(DEEP[..., 0], photometric="miniswhite", byteorder=order)
    assert np.abs(read(path)[..., 0] - (255 - ROUNDED[..., 0])).max() <= 1


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_fractions_and_whole_numbers_of_32_bits(lay: Callable[..., Path], order: str, compression: str | None) -> None:
    ramp = np.linspace(0, 1, 620).reshape(31, 20)
    whole = np.round(ramp * (2**32 - 1)).astype(np.uint32)
    for samples in (ramp.astype(np.float32), whole):
        path = lay(samples, photometric="minisblack", byteorder=order, compression=compression)
        assert np.abs(read(path)[..., 0] - ramp * 255).max() <= 0.51


@pytest.mark.system
@pytest.mark.parametrize("turn", range(1, 9))
def test_imagemagick_sees_the_same_picture(
    lay: Callable[..., Path], needs: Callable[[str], str], tmp_path: Path, turn: int
) -> None:
    path = lay(
        np.moveaxis(DEEP[..., :3], -1, 0), photometric="rgb", planarconfig="separate",
        extratags=[(274, 3, 1, turn, True)],
    )  # fmt: skip
    subprocess.run([needs("convert"), path, "-auto-orient", "-depth", "8", tmp_path / "a.png"], check=True)
    assert np.abs(read(path).astype(int) - np.asarray(Image.open(tmp_path / "a.png").convert("RGB"))).max() <= 1
    found = stills.probe(path, INTAKE, name="a.tif")
    assert found.size == ((20, 31) if turn < 5 else (31, 20))
    assert ("turned-upright" in [r.code for r in found.reasons]) is (turn != 1)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("bits", [8, 16])
def test_bigtiff_in_either_byte_order(lay: Callable[..., Path], order: str, bits: int) -> None:
    samples = DEEP[..., :3] if bits == 16 else ROUNDED[..., :3].astype(np.uint8)
    path = lay(samples, photometric="rgb", bigtiff=True, byteorder=order)
    assert stills.probe(path, INTAKE, name="a.tif").bits == bits
    assert np.abs(read(path) - ROUNDED[..., :3]).max() <= (0 if bits == 8 else 1)


def test_a_profile_comes_along(lay: Callable[..., Path]) -> None:
    path = lay(np.moveaxis(DEEP[..., :3], -1, 0), photometric="rgb", planarconfig="separate", iccprofile=b"kept")
    assert stills.load(path, INTAKE, name="a.tif").info["icc_profile"] == b"kept"


def refusal(path: Path) -> str:
    with pytest.raises(Refused) as caught:
        stills.probe(path, INTAKE, name="a.tif")
        stills.load(path, INTAKE, name="a.tif")
    (reason,) = caught.value.reasons
    assert reason.file == "a.tif" and "PNG" in reason.mend
    return reason.code


def test_layouts_that_nobody_here_reads_are_named_as_such(lay: Callable[..., Path]) -> None:
    light = np.random.default_rng(1).random((31, 20, 3))
    assert refusal(lay(light.astype(np.float32), photometric="rgb")) == "picture-layout"
    assert refusal(lay(light[..., 0].astype(np.float64))) == "picture-layout"


def test_an_unknown_compression_is_no_black_picture(lay: Callable[..., Path]) -> None:
    path = lay(DEEP[..., :3], photometric="rgb")
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack("<HHI", 259, 3, 1))  # TIFF 6.0: the tag Compression, one SHORT
    data[at + 8 : at + 10] = struct.pack("<H", 34712)
    path.write_bytes(data)
    assert refusal(path) == "picture-layout"


def test_without_libvips_they_are_refused_not_misread(
    lay: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    planes = lay(np.moveaxis(DEEP[..., :3], -1, 0), photometric="rgb", planarconfig="separate")
    assert refusal(planes) == "picture-layout"


def test_what_pillow_reads_right_stays_pillows(lay: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fast_libraries, "library", lambda name: pytest.fail("was asked for"))
    path = lay((DEEP[..., :3] >> 8).astype(np.uint8), photometric="rgb", planarconfig="contig")
    assert (read(path) == DEEP[..., :3] >> 8).all()


def test_garbled_planes_are_shown_or_refused(lay: Callable[..., Path]) -> None:
    path = lay(np.moveaxis(DEEP[..., :3], -1, 0), photometric="rgb", planarconfig="separate", compression="zlib")
    whole, refused = path.read_bytes(), 0
    dice = np.random.default_rng(5)
    for _ in range(150):
        data = bytearray(whole)
        for at in dice.integers(0, len(data), 3):
            data[at] ^= 1 << int(dice.integers(0, 8))
        path.write_bytes(data)
        try:
            stills.probe(path, INTAKE, name="a.tif")
            stills.load(path, INTAKE, name="a.tif")
        except Refused:
            refused += 1
    assert 20 < refused < 150


def test_a_huge_profile_or_text_in_a_png_breaks_nothing(tmp_path: Path) -> None:
    file = io.BytesIO()
    Image.new("RGB", (4, 4)).save(file, "PNG", icc_profile=bytes(4 * 2**20))
    (tmp_path / "a.png").write_bytes(file.getvalue())
    assert len(stills.load(tmp_path / "a.png", INTAKE, name="a.png").info["icc_profile"]) == 4 * 2**20


def by_hand(rgb: NDArray[np.uint8], tag: int, values: tuple[int, ...]) -> bytes:
    """A TIFF of one strip by the specification, with one more tag."""
    high, wide = rgb.shape[:2]
    fields = {256: (wide,), 257: (high,), 258: (8, 8, 8), 259: (1,), 262: (2,), 277: (3,), 278: (high,), tag: values}
    count, at = len(fields) + 2, 8
    base = at + 2 + 12 * count + 4
    extra, rows = b"", b""
    for number, held in sorted((fields | {273: (), 279: ()}).items()):
        if not held:
            value = base + 32 if number == 273 else rgb.size
            rows += struct.pack("<HHII", number, 4, 1, value)
            continue
        data = struct.pack(f"<{len(held)}H", *held)
        if len(data) > 4:
            extra, data = extra + data.ljust(8, b"\0"), struct.pack("<I", base + len(extra))
        rows += struct.pack("<HHI", number, 3, len(held)) + data.ljust(4, b"\0")
    return b"II*\0" + struct.pack("<IH", at, count) + rows + bytes(4) + extra.ljust(32, b"\0") + rgb.tobytes()


@pytest.mark.system
@pytest.mark.parametrize(("tag", "values"), [(339, (4, 4, 4)), (338, (0,))], ids=["untyped", "one extra said"])
def test_odd_tags_that_pillow_cannot_open_are_no_damage(
    tmp_path: Path, needs: Callable[[str], str], tag: int, values: tuple[int, ...]
) -> None:
    """TIFF 6.0, SampleFormat: 4 is data of a type that is not said. An extra sample may be said and not be there."""
    rgb, path = (DEEP[..., :3] >> 8).astype(np.uint8), tmp_path / "a.tif"
    path.write_bytes(by_hand(rgb, tag, values))
    with pytest.raises(OSError):
        Image.open(path)
    assert (read(path) == rgb).all()
    shown = subprocess.run(
        [needs("ffmpeg"), "-v", "error", "-i", path, "-f", "rawvideo", "-"], capture_output=True
    ).stdout
    assert shown == rgb.tobytes()


def twelve_bits(values: NDArray[np.int_], packed: bool) -> bytes:
    """TIFF 6.0: 12-bit grey, one strip. LZW of single letters alone: a Clear code before each 200 keeps 9-bit codes."""
    rows = [np.packbits((row[:, None] >> np.arange(11, -1, -1) & 1).astype(np.uint8)).tobytes() for row in values]
    data = b"".join(rows)
    if packed:
        codes = [code for at in range(0, len(data), 200) for code in (256, *data[at : at + 200])]
        bits = np.array([*codes, 257])[:, None] >> np.arange(8, -1, -1) & 1
        data = np.packbits(bits.astype(np.uint8)).tobytes()
    high, wide = values.shape
    tags = [(256, 3, wide), (257, 3, high), (258, 3, 12), (259, 3, 5 if packed else 1), (262, 3, 1), (273, 4, 122),
            (277, 3, 1), (278, 3, high), (279, 4, len(data))]  # fmt: skip
    head = b"II*\0" + struct.pack("<IH", 8, len(tags))
    return head + b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in tags) + bytes(4) + data


@pytest.mark.parametrize("packed", [False, True])
def test_twelve_bits_of_grey_are_refused_and_not_shown_nearly_black(tmp_path: Path, packed: bool) -> None:
    values = np.tile(np.linspace(0, 4095, 40).astype(int), (30, 1))
    (tmp_path / "a.tif").write_bytes(twelve_bits(values, packed))
    assert np.array_equal(np.asarray(Image.open(tmp_path / "a.tif")), values), "Pillow reads the file as it was made"
    with pytest.raises(Refused) as caught:
        stills.probe(tmp_path / "a.tif", INTAKE, name="a.tif")
    assert caught.value.reasons[0].code == "picture-layout"
