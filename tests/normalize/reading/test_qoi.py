"""QOI: the same pixels by FFmpeg and by Pillow, and what breaks off is refused."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from keyturn.normalize.reading import stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from odd.marker import Pixels
from odd.others import RGB, RGBA, saved

INTAKE = rulebook.load().intake


@pytest.mark.parametrize("pixels", [RGB, RGBA], ids=["rgb", "rgba"])
@pytest.mark.parametrize("films", [True, False], ids=["with FFmpeg", "without"])
def test_both_decoders_give_the_pixels_that_were_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, pixels: Pixels, films: bool
) -> None:
    if not films:
        monkeypatch.setitem(sys.modules, "av", None)
    (tmp_path / "a.qoi").write_bytes(saved(pixels, "QOI"))
    assert np.array_equal(np.asarray(stills.load(tmp_path / "a.qoi", INTAKE, name="a.qoi")), pixels)


@pytest.mark.parametrize("films", [True, False], ids=["with FFmpeg", "without"])
@pytest.mark.parametrize("keep", [5, 13, 14, 200, -1])
def test_a_file_that_breaks_off_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keep: int, films: bool
) -> None:
    if not films:
        monkeypatch.setitem(sys.modules, "av", None)
    (tmp_path / "a.qoi").write_bytes(saved(RGB, "QOI")[:keep])
    with pytest.raises(Refused) as caught:
        stills.load(tmp_path / "a.qoi", INTAKE, name="a.qoi")
    assert caught.value.reasons[0].code == "picture-broken"


def test_nonsense_in_the_header_is_refused(tmp_path: Path) -> None:
    for at, byte in ((12, 5), (7, 0)):
        data = bytearray(saved(RGB[:, :200], "QOI"))
        data[at] = byte
        (tmp_path / "a.qoi").write_bytes(data)
        with pytest.raises(Refused):
            stills.load(tmp_path / "a.qoi", INTAKE, name="a.qoi")
