"""The turn that EXIF asks for, written by Pillow."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from keyturn.normalize.reading import exif_turn


def opened(kind: str, turn: int) -> Image.Image:
    exif = Image.Exif()
    exif[0x0112] = turn
    file = io.BytesIO()
    Image.new("RGB", (6, 4)).save(file, kind, exif=exif)
    return Image.open(file)


@pytest.mark.parametrize("turn", range(1, 9))
def test_each_turn_is_read_as_it_was_written(turn: int) -> None:
    assert exif_turn.orientation(opened("JPEG", turn)) == turn
    tiff = opened("TIFF", turn)
    assert exif_turn.tiff_orientation(tiff) == turn  # type: ignore[arg-type]


@pytest.mark.parametrize("turn", [0, 9, 65535])
def test_an_unknown_turn_is_none(turn: int) -> None:
    assert exif_turn.orientation(opened("JPEG", turn)) == 1


@pytest.mark.parametrize("exif", [None, b"", b"Exif\0\0", b"Exif\0\0II*\0\xff\xff\xff\xff", b"garbage"])
def test_garbled_exif_is_upright(exif: bytes | None) -> None:
    image = Image.new("RGB", (1, 1))
    image.info["exif"] = exif
    assert exif_turn.orientation(image) == 1


@pytest.mark.parametrize("turn", range(1, 9))
def test_what_is_written_reads_the_same(turn: int) -> None:
    image = Image.new("RGB", (1, 1))
    image.info = exif_turn.written(turn)
    assert exif_turn.orientation(image) == turn and bool(image.info) == (turn != 1)
