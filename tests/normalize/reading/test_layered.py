"""PSD files: the flattened picture as it looks, or a reason; written here by the published format."""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from keyturn.normalize.reading import stills
from keyturn.normalize.reading.layered import off_white
from keyturn.normalize.reading.probe import Probe
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused

INTAKE = rulebook.load().intake
Pixels = NDArray[np.uint8]


def psd(
    channels: list[NDArray[Any]],
    *,
    mode: int = 3,
    bits: int = 8,
    version: int = 1,
    layers: int = 0,
    merged: int | None = 1,
    in_block: bytes = b"",
    palette: bytes = b"",
) -> bytes:
    """A file by the PSD file format specification, its picture uncompressed.

    `layers` is the layer count as stored (the layers themselves are empty), `merged` the flag of resource 1057. The
    layers stand in a block of the key `in_block`, as those of deep pictures do. A PSB is of version 2.
    """
    high, wide = channels[0].shape
    head = b"8BPS" + struct.pack(">H6xHIIHH", version, len(channels), high, wide, bits, mode)
    resources = b""
    if merged is not None:
        told = struct.pack(">IBIIxx", 1, merged, 0, 0)
        resources = b"8BIM" + struct.pack(">HHI", 1057, 0, len(told)) + told + bytes(len(told) % 2)
    empty = struct.pack(">iiiiH", 0, 0, 0, 0, 0) + b"8BIMnorm" + struct.pack(">BBBxI", 255, 0, 0, 0)
    inside = struct.pack(">h", layers) + empty * abs(layers) if layers else b""
    wide = ">Q" if version == 2 else ">I"
    section = struct.pack(wide, len(inside)) + inside if inside else b""
    if in_block:
        before = struct.pack(">4s4sI", b"8BIM", b"Patt", 5) + bytes(8)
        block = struct.pack(">4s4s", b"8BIM", in_block) + struct.pack(wide, len(inside)) + inside
        section = struct.pack(wide, 0) + struct.pack(">I", 2) + bytes(2) + before + block
    pixels = struct.pack(">H", 0) + b"".join(channel.tobytes() for channel in channels)
    lead = b"".join(struct.pack(">I", len(part)) + part for part in (palette, resources))
    return head + lead + struct.pack(wide, len(section)) + section + pixels


def ramps(count: int) -> list[Pixels]:
    y, x = np.mgrid[0:20, 0:30]
    return [np.uint8((x * (3 + n) + y * (7 - n)) % 256) for n in range(count)]


def loaded(path: Path) -> tuple[Probe, Image.Image]:
    return stills.probe(path, INTAKE, name="a.psd"), stills.load(path, INTAKE, name="a.psd")


def test_the_flattened_picture_is_taken_and_told(tmp_path: Path) -> None:
    path = tmp_path / "a.psd"
    for layers, codes in ((0, []), (2, ["psd-flattened"])):
        path.write_bytes(psd(ramps(3), layers=layers))
        found, made = loaded(path)
        assert (found.format, found.size, made.mode) == ("PSD", (30, 20), "RGB")
        assert [r.code for r in found.reasons] == codes
        assert (np.asarray(made) == np.stack(ramps(3), -1)).all()


def test_grey_and_printing_inks_are_taken(tmp_path: Path) -> None:
    """CMYK is stored inverted: 255 is no ink (the format's specification)."""
    path = tmp_path / "a.psd"
    path.write_bytes(psd(ramps(1), mode=1))
    assert (np.asarray(loaded(path)[1]) == ramps(1)[0]).all()
    path.write_bytes(psd(ramps(4), mode=4))
    made = loaded(path)[1]
    assert made.mode == "CMYK" and (np.asarray(made) == 255 - np.stack(ramps(4), -1)).all()


def test_a_fourth_channel_is_transparency_only_where_the_layers_say_so(tmp_path: Path) -> None:
    """A negative layer count says it; else it is a selection that was kept, and the picture is opaque."""
    path = tmp_path / "a.psd"
    path.write_bytes(psd(ramps(4), layers=1))
    found, made = loaded(path)
    assert made.mode == "RGB" and not found.alpha
    path.write_bytes(psd(ramps(4), layers=-1))
    found, made = loaded(path)
    assert made.mode == "RGBA" and found.alpha and (np.asarray(made)[..., 3] == ramps(4)[3]).all()


def test_colours_are_taken_off_the_white_they_were_laid_on() -> None:
    """Closed form: shown = alpha x colour + (1 - alpha) x 255, rounded; half a step of it is 0.5 / alpha of colour."""
    alpha, colour = np.meshgrid(np.arange(1, 256), np.arange(256))
    shown = np.rint(alpha / 255 * colour + 255 - alpha)
    pixels = np.stack([shown, shown, shown, alpha], -1).astype(np.uint8)
    made = off_white(pixels)
    assert (np.abs(made[..., 0] - colour) <= 127.5 / alpha + 0.5).all()
    assert (made[..., 3] == alpha).all()
    assert (off_white(np.zeros((1, 1, 4), np.uint8)) == 0).all()


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (psd(ramps(3), layers=3, merged=0), "psd-layers-only"),
        (psd(ramps(12), bits=32), "psd-kind"),
        (psd(ramps(3), mode=9), "psd-kind"),
        (psd(ramps(5), mode=4, layers=-1), "psd-channels"),
        (psd(ramps(3), version=3), "picture-broken"),
        (psd(ramps(3))[:20], "picture-broken"),
        (psd(ramps(3))[:60], "picture-broken"),
        (psd(ramps(3))[:-200], "picture-broken"),
    ],
)
def test_what_has_no_such_picture_is_refused_with_a_mend(tmp_path: Path, data: bytes, code: str) -> None:
    path = tmp_path / "a.psd"
    path.write_bytes(data)
    with pytest.raises(Refused) as caught:
        loaded(path)
    (reason,) = caught.value.reasons
    assert reason.code == code and reason.mend and reason.file == "a.psd"


@pytest.mark.system
def test_imagemagick_reads_and_writes_the_same(tmp_path: Path, needs: Callable[[str], str]) -> None:
    """ImageMagick's reader takes colours off the white as well; its writer packs the picture (RLE)."""
    convert = needs("convert")
    rgba = np.stack(ramps(4), -1)
    share = np.maximum(rgba[..., 3:], 60) / 255
    rgba = np.rint(np.concatenate([share * rgba[..., :3] + 255 * (1 - share), share * 255], -1)).astype(np.uint8)
    (tmp_path / "ours.psd").write_bytes(psd([rgba[..., n] for n in range(4)], layers=-1))
    subprocess.run([convert, tmp_path / "ours.psd[0]", f"PNG32:{tmp_path / 'theirs.png'}"], check=True)
    theirs = np.asarray(Image.open(tmp_path / "theirs.png")).astype(int)
    ours = np.asarray(loaded(tmp_path / "ours.psd")[1]).astype(int)
    assert np.abs(ours - theirs).max() <= 1
    Image.fromarray(np.stack(ramps(3), -1)).save(tmp_path / "a.png")
    subprocess.run([convert, tmp_path / "a.png", "-compress", "RLE", tmp_path / "a.psd"], check=True)
    assert (np.asarray(loaded(tmp_path / "a.psd")[1].convert("RGB")) == np.stack(ramps(3), -1)).all()


# -- deep and large drawings, and kept selections ---------------------------------------------------


def deep(count: int) -> list[NDArray[Any]]:
    return [(channel.astype(np.uint16) * 257).astype(">u2") for channel in ramps(count)]


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize("bits", [8, 16])
def test_large_and_deep_drawings_are_taken(tmp_path: Path, version: int, bits: int) -> None:
    (tmp_path / "a.psb").write_bytes(psd(ramps(3) if bits == 8 else deep(3), bits=bits, version=version))
    found = stills.probe(tmp_path / "a.psb", INTAKE, name="a.psb")
    assert (found.format, found.bits) == ("PSD", bits)
    assert [r.code for r in found.reasons] == (["depth-reduced"] if bits == 16 else [])
    assert (np.asarray(stills.load(tmp_path / "a.psb", INTAKE, name="a.psb")) == np.stack(ramps(3), -1)).all()


@pytest.mark.parametrize("version", [1, 2])
def test_the_layers_of_a_deep_drawing_stand_in_a_block(tmp_path: Path, version: int) -> None:
    """Specification, additional layer information, key Lr16; in a PSB its length takes eight bytes."""
    path = tmp_path / "a.psd"
    path.write_bytes(psd(deep(4), bits=16, version=version, layers=-1, in_block=b"Lr16"))
    found, made = loaded(path)
    assert found.alpha and (np.asarray(made) == off_white(np.stack(ramps(4), -1))).all()


def test_a_kept_selection_is_left_out_beside_transparency_too(tmp_path: Path) -> None:
    path = tmp_path / "a.psd"
    path.write_bytes(psd(ramps(6), layers=-2))
    made = loaded(path)[1]
    assert made.mode == "RGBA" and (np.asarray(made) == off_white(np.stack(ramps(4), -1))).all()
    path.write_bytes(psd(ramps(3), mode=1, layers=-1))
    grey, alpha = ramps(2)
    assert (np.asarray(loaded(path)[1]) == off_white(np.stack([grey, grey, grey, alpha], -1))).all()


def test_indexed_colours_come_from_the_palette(tmp_path: Path) -> None:
    path = tmp_path / "a.psd"
    palette = np.arange(768, dtype=np.uint16).astype(np.uint8)
    path.write_bytes(psd(ramps(1), mode=2, palette=palette.tobytes()))
    wanted = palette.reshape(3, 256).T[ramps(1)[0]]
    assert (np.asarray(loaded(path)[1].convert("RGB")) == wanted).all()


@pytest.mark.system
@pytest.mark.parametrize(
    "way", ["-depth 16", "-depth 16 -compress RLE", "-compress RLE", "-colorspace CMYK -compress RLE"]
)
@pytest.mark.parametrize("form", ["psd", "psb"])
def test_imagemagick_writes_them_and_shows_the_same(
    tmp_path: Path, needs: Callable[[str], str], form: str, way: str
) -> None:
    convert, path = needs("convert"), tmp_path / f"a.{form}"
    Image.fromarray(np.stack(ramps(3), -1)).save(tmp_path / "a.png")
    subprocess.run([convert, tmp_path / "a.png", *way.split(), path], check=True)
    subprocess.run([convert, f"{path}[0]", "-colorspace", "sRGB", f"PNG24:{tmp_path / 'theirs.png'}"], check=True)
    ours = np.asarray(stills.load(path, INTAKE, name=path.name).convert("RGB")).astype(int)
    assert np.abs(ours - np.asarray(Image.open(tmp_path / "theirs.png"))).max() <= 1


@pytest.mark.parametrize("keep", [30, 60, 500, -3])
def test_a_packed_picture_that_breaks_off_is_refused(tmp_path: Path, needs: Callable[[str], str], keep: int) -> None:
    Image.fromarray(np.stack(ramps(3), -1)).save(tmp_path / "a.png")
    subprocess.run([needs("convert"), tmp_path / "a.png", "-compress", "RLE", tmp_path / "a.psb"], check=True)
    (tmp_path / "a.psb").write_bytes((tmp_path / "a.psb").read_bytes()[:keep])
    with pytest.raises(Refused) as caught:
        stills.load(tmp_path / "a.psb", INTAKE, name="a.psb")
    assert caught.value.reasons[0].code == "picture-broken"
