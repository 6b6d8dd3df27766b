"""Words drawn from fonts whose letters are boxes: where light falls, and how much."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fontTools.ttLib import TTFont
from PIL import Image

import font_samples
from keyturn.flatten import figures, fonts, lettering
from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.fonts import FontFile
from keyturn.flatten.lettering import ShadowLook, TextLook
from keyturn.flatten.motion import Pose
from keyturn.flatten.text_layout import Faces, SetText, laid_out
from keyturn.shop import rulebook

INTAKE = rulebook.load().intake
WHITE, RED, BLUE = (255, 255, 255), (255, 0, 0), (0, 0, 255)
MANY = 10**7


@pytest.fixture
def words(tmp_path: Path) -> SetText:
    """Two boxes of 0.46 x 0.7 em, 0.04 em apart, on the baseline of a line that is 0.8 em above and 0.2 below it."""
    (tmp_path / "boxes.ttf").write_bytes(font_samples.font({"F": 500}))
    file = FontFile(tmp_path / "boxes.ttf", "boxes.ttf")
    return laid_out("FF", Faces((file,), (fonts.opened(file, file.version, INTAKE),), None), align="left")


def drawn(words: SetText, look: TextLook, height: float = 100) -> np.ndarray:
    """Light and alpha without the margin, whose middle is the words' middle."""
    made = lettering.drawn(words, look, height, MANY, INTAKE)
    rows, columns = made.light.shape[:2]
    assert (made.width, made.height) == pytest.approx((height, height), rel=0.01)
    top, left = (rows - round(made.height)) // 2, (columns - round(made.width)) // 2
    return made.light[top : rows - top, left : columns - left]


def test_letters_stand_on_the_baseline_in_the_middle_of_an_even_margin(words: SetText) -> None:
    """Rows 10 to 80 of 100 are boxes (0.8 - 0.7 em down from the top), columns 2 to 48 and 52 to 98."""
    alpha = drawn(words, TextLook(WHITE))[..., 3]
    assert alpha[11:79, 3:47].min() > 0.99 and alpha[11:79, 53:97].min() > 0.99
    assert alpha[:9].max() < 0.01 and alpha[82:].max() < 0.01 and alpha[20:70, 49:51].max() < 0.01
    assert alpha.sum() == pytest.approx(2 * 46 * 70, rel=0.02)


def test_colours_are_premultiplied_linear_light(words: SetText) -> None:
    light = drawn(words, TextLook((188, 0, 255)))
    assert light[40, 20] == pytest.approx([0.5029, 0, 1, 1], abs=0.001), "IEC 61966-2-1: 188 is half of the light"


def test_an_outline_is_under_the_letters_and_stands_out_by_its_width(words: SetText) -> None:
    """A tenth of a line is 10 px: the gap of 4 px between the boxes is filled, the letters keep their colour."""
    light = drawn(words, TextLook(WHITE, outline=(RED, 0.1)))
    assert light[40, 20] == pytest.approx([1, 1, 1, 1], abs=0.01)
    assert light[40, 50] == pytest.approx([1, 0, 0, 1], abs=0.02)
    assert light[85, 25] == pytest.approx([1, 0, 0, 1], abs=0.02) and light[93, 25, 3] < 0.02


def test_a_shadow_lies_below_with_its_colour_and_opacity(words: SetText) -> None:
    shadow = ShadowLook(BLUE, (0.0, 0.15), 0.0, 0.5)
    light = drawn(words, TextLook(WHITE, shadow=shadow))
    assert light[40, 20] == pytest.approx([1, 1, 1, 1], abs=0.01)
    assert light[88, 25] == pytest.approx([0, 0, 0.5, 0.5], abs=0.01) and light[97, 25, 3] < 0.01


def test_a_soft_shadow_has_as_much_ink_as_a_hard_one(words: SetText) -> None:
    """A blur moves ink and makes none. Shadow alone: the letters take no light."""

    def ink(blur: float) -> float:
        made = lettering.drawn(words, TextLook(WHITE, shadow=ShadowLook(BLUE, (0, 2.0), blur, 1.0)), 60, MANY, INTAKE)
        return float(made.light[..., 2].sum() - made.light[..., 0].sum())

    assert ink(0.1) == pytest.approx(ink(0.0), rel=0.02)


def test_words_of_many_pixels_are_drawn_smaller(words: SetText) -> None:
    made = lettering.drawn(words, TextLook(WHITE, outline=(RED, 0.1)), 4000, 40_000, INTAKE)
    assert made.light.shape[0] * made.light.shape[1] < 44_000
    assert made.width == pytest.approx(made.height, rel=0.01)


def test_ink_is_found_in_shares_of_width_and_height(words: SetText) -> None:
    _, points = lettering.inked(words, INTAKE)
    assert 1000 < len(points) <= lettering.MOST_POINTS
    assert points.min(axis=0) == pytest.approx([0.02, 0.1], abs=0.02)
    assert points.max(axis=0) == pytest.approx([0.98, 0.8], abs=0.02)


@pytest.mark.parametrize("ascent", [500, -1000])
def test_ink_beyond_the_lines_is_found_and_drawn(tmp_path: Path, ascent: int) -> None:
    """Boxes 0.7 em high in a font whose lines end 0.5 em above the baseline, or an em below it."""
    (tmp_path / "plain.ttf").write_bytes(font_samples.font({"F": 500}))
    low = TTFont(tmp_path / "plain.ttf")
    for table, name in (("hhea", "ascent"), ("OS/2", "sTypoAscender")):
        setattr(low[table], name, ascent)
    low["hhea"].descent = low["OS/2"].sTypoDescender = -1200
    low.save(tmp_path / "low.ttf")
    file = FontFile(tmp_path / "low.ttf")
    words = laid_out("F", Faces((file,), (fonts.opened(file, file.version, INTAKE),), None), align="left")
    made, _ = lettering.inked(words, INTAKE)
    assert made.overhang == pytest.approx(0.7 - ascent / 1000, abs=0.03)
    light = lettering.drawn(made, TextLook(WHITE), 100 * made.height, MANY, INTAKE).light
    assert light[..., 3].sum() == pytest.approx(46 * 70, rel=0.03)


def test_as_a_figure_their_middle_is_where_the_pose_says(words: SetText) -> None:
    """An outline and a shadow to one side move nothing."""
    ground = Image.new("RGB", (200, 160))
    for look in (TextLook(WHITE), TextLook(WHITE, (BLUE, 0.05), ShadowLook(BLUE, (0.3, 0.0), 0.02, 1.0))):
        placed = Placed(Figure("job.toml", text="FF", words=(words, look)), Pose(100, 80, 100, 0, 1))
        red = np.asarray(figures.drawn(ground, placed, INTAKE)[0], float)[..., 0] > 127
        rows, columns = np.nonzero(red)
        assert (columns.mean() + 0.5, rows.min(), rows.max() + 1) == pytest.approx((100, 40, 110), abs=1)


def test_a_font_changed_by_hand_is_drawn_anew(words: SetText) -> None:
    path = words.fonts[0].path
    assert path
    placed = Placed(Figure("job.toml", text="FF", words=(words, TextLook(WHITE))), Pose(100, 80, 100, 0, 1))

    def ink() -> int:
        return int(np.asarray(figures.drawn(Image.new("RGB", (200, 160)), placed, INTAKE)[0]).astype(bool).sum())

    before = ink()
    path.write_bytes(font_samples.font({"F": 250}))
    assert ink() < 0.7 * before
