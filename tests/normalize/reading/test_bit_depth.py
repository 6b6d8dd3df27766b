"""Deep samples brought to 8 bits, against the PNG specification's own arithmetic."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from keyturn.normalize.reading import stills
from normalize.reading.test_stills import INTAKE, chunk, png_bytes


def test_sixteen_bits_are_rounded_not_cut(tmp_path: Path) -> None:
    # PNG specification, 12.4: the accurate scaling is floor(v * 255 / 65535 + 0.5). All 65,536 values.
    values = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    wanted = np.floor(values.astype(float) * 255 / 65535 + 0.5)
    colours = np.stack([values, values[::-1], values.T], -1)
    for name, stored, kind in [("grey", values[..., None], 0), ("colour", colours, 2)]:
        path = tmp_path / f"{name}.png"
        rows = [row.astype(">u2").tobytes() for row in stored]
        path.write_bytes(png_bytes((256, 256), 16, kind, rows))
        got = np.asarray(stills.load(path, INTAKE, name=name).convert("RGB"))
        assert (got[..., 0] == wanted).all()
    assert (got[..., 1] == wanted[::-1]).all() and (got[..., 2] == wanted.T).all()


@pytest.mark.parametrize("colour", [4, 6])
def test_sixteen_bit_alpha_is_rounded_as_well(tmp_path: Path, colour: int) -> None:
    samples = np.random.default_rng(colour).integers(0, 65536, (40, 30, 2 if colour == 4 else 4))
    path = tmp_path / "a.png"
    path.write_bytes(png_bytes((30, 40), 16, colour, [row.astype(">u2").tobytes() for row in samples]))
    got = np.asarray(stills.load(path, INTAKE, name="a"))
    assert (got == np.floor(samples * 255 / 65535 + 0.5)).all()


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("compression", ["none", "zlib"])
def test_sixteen_bit_tiff_is_rounded_in_either_byte_order(tmp_path: Path, order: str, compression: str) -> None:
    import tifffile  # comes with scikit-image: an independent writer

    samples = np.random.default_rng(5).integers(0, 65536, (20, 33, 3)).astype(np.uint16)
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, samples, photometric="rgb", byteorder=order, compression=None if compression == "none" else compression
    )
    assert stills.probe(path, INTAKE, name="a.tif").bits == 16
    got = np.asarray(stills.load(path, INTAKE, name="a.tif"))
    assert (got == np.floor(samples.astype(float) * 255 / 65535 + 0.5)).all()


def test_one_transparent_colour_is_found_at_its_own_depth(tmp_path: Path) -> None:
    # PNG specification, 11.3.1.1 (tRNS): compared at the depth of the file, in its unscaled samples.
    key = chunk(b"tRNS", struct.pack(">HHH", 257, 258, 259))
    near = np.array([[[257, 258, 259], [256, 258, 259]]], ">u2")
    path = tmp_path / "a.png"
    path.write_bytes(png_bytes((2, 1), 16, 2, [near.tobytes()], key))
    assert list(np.asarray(stills.load(path, INTAKE, name="a"))[0, :, 3]) == [0, 255]
    path.write_bytes(png_bytes((4, 1), 4, 0, [bytes([0x07, 0x8F])], chunk(b"tRNS", b"\0\x07")))
    assert list(np.asarray(stills.load(path, INTAKE, name="a").convert("LA"))[0, :, 1]) == [255, 0, 255, 255]
    path.write_bytes(png_bytes((2, 1), 16, 0, [struct.pack(">HH", 511, 512)], chunk(b"tRNS", b"\x02\0")))
    assert list(np.asarray(stills.load(path, INTAKE, name="a").convert("LA"))[0, :, 1]) == [255, 0]
