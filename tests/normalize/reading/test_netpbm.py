"""PBM, PGM, PPM and PAM as ImageMagick shows them; files written by the format's manual pages."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from keyturn.normalize.reading import kinds, stills
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from odd.others import RGB, files, pam, pnm

INTAKE = rulebook.load().intake
SHOWN_WRONG = tuple(f"ppm-pam-{kind}-{most}" for kind in ("rgba", "grey") for most in (15, 100, 1023))
"""ImageMagick 6 does not scale the alpha of these."""

SOUND = {odd.name: odd for odd in files() if odd.name.startswith("ppm-")}


@pytest.mark.system
@pytest.mark.parametrize("name", [name for name in SOUND if name not in SHOWN_WRONG][::3])
def test_imagemagick_shows_the_same(tmp_path: Path, needs: Callable[[str], str], name: str) -> None:
    path = tmp_path / "a.ppm"
    path.write_bytes(SOUND[name].data)
    shown = subprocess.run([needs("convert"), path, "-depth", "8", "rgba:-"], capture_output=True, check=True).stdout
    other = np.frombuffer(shown, np.uint8).reshape(RGB.shape[0], RGB.shape[1], 4)
    made = np.asarray(stills.load(path, INTAKE, name="a.ppm").convert("RGBA"))
    assert np.abs(made.astype(int) - other).max() <= 1


def test_each_is_known_and_a_letter_is_not() -> None:
    assert {kinds.of(odd.data[:512]) for odd in SOUND.values()} == {"PPM"}
    assert kinds.of(b"P6 is the shelf of lamps") == kinds.of(b"P7\nand so on") == ""


def test_a_deep_picture_is_scaled_by_its_largest_sample(tmp_path: Path) -> None:
    """pgm(5): a sample is a share of maxval."""
    (tmp_path / "a.pgm").write_bytes(pnm(5, 1000, np.array([[0, 250, 500, 1000]])))
    probe = stills.probe(tmp_path / "a.pgm", INTAKE, name="a.pgm")
    assert (probe.bits, probe.size, [r.code for r in probe.reasons]) == (16, (4, 1), ["depth-reduced"])
    assert np.asarray(stills.load(tmp_path / "a.pgm", INTAKE, name="a.pgm")).tolist() == [[0, 64, 128, 255]]


@pytest.mark.parametrize(
    "data",
    [
        b"P6 2 2 255\n" + bytes(11),
        b"P3 2 2 255\n1 2 3",
        b"P2 1 1 9\n12",
        b"P5 0 4 255\n",
        b"P5 2 2 70000\n" + bytes(8),
        b"P4 9 9\n" + bytes(4),
        b"P1 2 2\n1 0 1",
        b"P5 2 x",
        b"P7\nWIDTH 2\nHEIGHT 2\n",
        pam(255, np.zeros((2, 2, 4)))[:-1],
        pam(255, np.zeros((2, 2, 5))),
        b"P7\nWIDTH 2\nENDHDR\n",
    ],
)
def test_garbage_and_files_that_break_off_are_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.ppm").write_bytes(data)
    with pytest.raises(Refused) as caught:
        stills.load(tmp_path / "a.ppm", INTAKE, name="a.ppm")
    assert caught.value.reasons[0].code in ("picture-broken", "picture-unknown")
