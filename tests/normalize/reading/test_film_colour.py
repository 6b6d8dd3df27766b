"""Films' turn, shape and colours, against the formulas of ITU-T H.273 and colour-science."""

from __future__ import annotations

import warnings
import zlib
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from film_samples import film, pictures, turned
from keyturn.normalize.reading import film_colour, stills
from keyturn.normalize.reading.clips import Clip
from keyturn.normalize.srgb import to_srgb, upright
from normalize.reading.test_films import INTAKE, pixels, planes, probe

with warnings.catch_warnings():  # colour-science warns that its plotting is not installed
    warnings.simplefilter("ignore")
    import colour

MATRICES = {
    1: (1, 0, 0, 1),
    2: (-1, 0, 0, 1),
    3: (-1, 0, 0, -1),
    4: (1, 0, 0, -1),
    5: (0, 1, 1, 0),
    6: (0, 1, -1, 0),
    7: (0, -1, -1, 0),
    8: (0, -1, 1, 0),
}

WEIGHTS = {1: (0.2126, 0.0722), 5: (0.299, 0.114), 6: (0.299, 0.114), 9: (0.2627, 0.0593)}
"""Kr and Kb by ITU-T H.273, table 4: BT.709, BT.601 (625 and 525 lines), BT.2020."""

CODES = [(81, 90, 240), (145, 54, 34), (41, 240, 110), (180, 128, 128), (16, 128, 128), (235, 128, 128), (120, 150, 90)]


@pytest.mark.parametrize("turn", MATRICES)
def test_a_film_is_turned_as_its_matrix_says_and_once(tmp_path: Path, turn: int) -> None:
    """Pixel (x, y) is shown at (ax + cy, bx + dy), moved back into the picture (ISO/IEC 14496-12, 8.3.2)."""
    a, b, c, d = MATRICES[turn]
    drawn = pictures(2, (64, 48))[1]
    path = film(tmp_path / "van.mp4", [drawn] * 2)
    path.write_bytes(turned(path.read_bytes(), MATRICES[turn]))
    y, x = np.mgrid[0:48, 0:64]
    right, down = a * x + c * y, b * x + d * y
    right, down = right - right.min(), down - down.min()
    expected = np.zeros((down.max() + 1, right.max() + 1, 3), int)
    expected[down, right] = drawn
    found = probe(path)
    assert (found.orientation, found.size) == (turn, expected.shape[1::-1])
    assert [r.code for r in found.reasons] == ["turned-upright"] * (turn != 1)
    with Clip(path, INTAKE, "van.mp4") as clip:
        assert (pixels(upright(clip.frame(1))) == expected).all()
    assert (pixels(upright(stills.load(path, INTAKE, name="van.mp4"))) == expected).all()


@pytest.mark.parametrize(("aspect", "size"), [((4, 3), (85, 48)), ((3, 4), (64, 64)), ((1, 1), (64, 48))])
def test_pixels_that_are_not_square_are_made_so(tmp_path: Path, aspect: tuple[int, int], size: tuple[int, int]) -> None:
    path = film(tmp_path / "van.mp4", pictures(2), aspect=Fraction(*aspect))
    assert probe(path).size == size
    with Clip(path, INTAKE, "van.mp4") as clip:
        assert clip.frame(1).size == size


def rgb(y: float, u: float, v: float, matrix: int, full: bool, bits: int = 8) -> np.ndarray:
    """ITU-T H.273, 8.3: from code values to R'G'B' of 0 to 255."""
    step = 1 << (bits - 8)
    kr, kb = WEIGHTS[matrix]
    luma = y / (256 * step - 1) if full else (y / step - 16) / 219
    cb, cr = ((c - 128 * step) / (256 * step - 1) if full else (c / step - 128) / 224 for c in (u, v))
    r, b = luma + 2 * (1 - kr) * cr, luma + 2 * (1 - kb) * cb
    g = (luma - kr * r - kb * b) / (1 - kr - kb)
    return np.clip(np.array([r, g, b]) * 255, 0, 255)


@pytest.mark.parametrize(("matrix", "range_"), [(1, 1), (1, 2), (5, 1), (6, 1), (6, 2), (9, 1)])
def test_colours_follow_the_tags(tmp_path: Path, matrix: int, range_: int) -> None:
    about = {"colorspace": matrix, "color_range": range_}
    drawn = [planes(code, (64, 48)) for code in CODES]
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p", codec="libx264", about=about)
    with Clip(path, INTAKE, "v.mp4") as clip:
        for index, code in enumerate(CODES):
            worst = np.abs(pixels(clip.frame(index)) - rgb(*code, matrix, range_ == 2)).max()
            assert worst <= 1.5, (code, worst)


@pytest.mark.parametrize(("size", "matrix"), [((64, 48), 6), ((1280, 64), 1), ((64, 720), 1), ((1024, 576), 6)])
def test_an_untagged_film_is_read_by_its_size(tmp_path: Path, size: tuple[int, int], matrix: int) -> None:
    """BT.709 from 720 lines or 1280 columns on, else BT.601, both limited (common practice, no source)."""
    drawn = [planes(CODES[0], size)] * 2
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p", codec="libx264")
    with Clip(path, INTAKE, "v.mp4") as clip:
        assert np.abs(pixels(clip.frame(0)) - rgb(*CODES[0], matrix, False)).max() <= 1.5


def test_ten_bits_become_eight(tmp_path: Path) -> None:
    drawn = [planes(code, (64, 48), deep=True) for code in CODES]
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p10le", codec="libx264", about={"colorspace": 1})
    found = probe(path)
    assert found.bits == 10 and [r.code for r in found.reasons] == ["depth-reduced"]
    with Clip(path, INTAKE, "v.mp4") as clip:
        for index, code in enumerate(CODES):
            deep = [4 * value + 1 for value in code]
            assert np.abs(pixels(clip.frame(index)) - rgb(*deep, 1, False, bits=10)).max() <= 1.5


@pytest.mark.parametrize("transfer", [16, 18])
def test_hdr_is_told_and_comes_out_as_a_png_that_says_the_same(tmp_path: Path, transfer: int) -> None:
    """ITU-T H.273, table 3: 16 is PQ, 18 is HLG; PNG's cICP chunk holds the same numbers."""
    about = {"color_primaries": 9, "color_trc": transfer, "colorspace": 9}
    drawn = [planes(CODES[0], (64, 48))] * 2
    path = film(tmp_path / "v.mp4", drawn, layout="yuv444p", codec="libx264", about=about)
    assert "film-hdr" in [r.code for r in probe(path).reasons]
    with Clip(path, INTAKE, "v.mp4") as clip:
        raw = clip.frame(1)
    made, reasons = to_srgb(raw)
    assert [r.code for r in reasons] == ["profile-followed"]
    raw.info = {}
    raw.save(tmp_path / "v.png")
    png = (tmp_path / "v.png").read_bytes()
    chunk = b"cICP" + bytes([9, transfer, 0, 1])
    said = (4).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    (tmp_path / "v.png").write_bytes(png[:33] + said + png[33:])
    expected, _ = to_srgb(stills.load(tmp_path / "v.png", INTAKE, name="v.png"))
    assert (pixels(made) == pixels(expected)).all()


def test_the_wider_colours_of_phones_are_brought_to_srgb(tmp_path: Path) -> None:
    """Display P3's primaries (H.273's 12), against colour-science; the curve is taken for sRGB's."""
    for code in [(126, 120, 150), (150, 110, 140), (180, 128, 128)]:  # within sRGB, where nothing is cut off
        about = {"color_primaries": 12, "color_trc": 1, "colorspace": 1}
        path = film(tmp_path / "v.mp4", [planes(code, (64, 48))] * 2, layout="yuv444p", codec="libx264", about=about)
        with Clip(path, INTAKE, "v.mp4") as clip:
            made = pixels(to_srgb(clip.frame(0))[0])[0, 0]
        spaces = [colour.RGB_COLOURSPACES[name] for name in ("Display P3", "sRGB")]
        light = colour.models.eotf_sRGB(rgb(*code, 1, False) / 255)
        there = colour.RGB_to_RGB(light, *spaces)
        expected = colour.models.eotf_inverse_sRGB(there) * 255
        assert (expected >= 0).all() and np.abs(made - expected).max() <= 2


def test_see_through_areas_of_a_webm_stay_so(tmp_path: Path) -> None:
    """yuva420p: the fourth plane is the alpha, and is kept without loss here."""
    alpha = np.tile(np.arange(64, dtype=np.uint8) * 4, (48, 1))
    luma, chroma = np.full((48, 64), 120, np.uint8), np.full((24, 32), 128, np.uint8)
    path = film(
        tmp_path / "ghost.webm",
        [[luma, chroma, chroma, alpha]] * 3,
        layout="yuva420p",
        tags={"alpha_mode": "1"},
        codec="libvpx-vp9",
        options={"lossless": "1", "auto-alt-ref": "0", "deadline": "realtime", "cpu-used": "8"},
    )
    assert probe(path).alpha
    with Clip(path, INTAKE, "ghost.webm") as clip:
        made = np.asarray(clip.frame(2))
    assert made.shape == (48, 64, 4) and (made[..., 3] == alpha).all()
    assert np.abs(made[..., :3].astype(int) - round((120 - 16) / 219 * 255)).max() <= 1


def test_a_film_without_a_matrix_is_upright() -> None:
    assert film_colour.turn(b"") == 1
