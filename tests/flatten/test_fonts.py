"""Font files as untrusted input: which letters they have, in which weights, and broken ones refused."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFont

import font_samples
from keyturn.flatten import fonts
from keyturn.flatten.fonts import BUILT_IN, FontFile, Typeface
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.shop_fonts import own_typeface
from samples import examples

INTAKE = rulebook.load().intake
FERN = {"F": 500, "e": 500, " ": 300}


def opened(path: Path, data: bytes | None = None) -> Typeface:
    if data is not None:
        path.write_bytes(data)
    file = FontFile(path, path.name)
    return fonts.opened(file, file.version, INTAKE)


def refusal(path: Path, data: bytes | None = None) -> tuple[str, str | None]:
    with pytest.raises(Refused) as caught:
        opened(path, data)
    (reason,) = caught.value.reasons
    assert reason.what and reason.mend
    return reason.code, reason.file


@pytest.mark.parametrize(("ending", "flavor"), [("ttf", None), ("woff", "woff"), ("woff2", "woff2")])
def test_a_font_has_the_letters_of_its_character_map(tmp_path: Path, ending: str, flavor: str | None) -> None:
    face = opened(tmp_path / f"brand.{ending}", font_samples.font(FERN, flavor=flavor))
    assert (face.has("F"), face.has("e"), face.has("x"), face.has("\u0416")) == (True, True, False, False)


def test_a_font_of_cubic_curves_is_read(tmp_path: Path) -> None:
    """OpenType with CFF outlines, converted by fontTools."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.t2CharStringPen import T2CharStringPen

    pen = T2CharStringPen(500, None)
    pen.moveTo((20, 0)), pen.lineTo((20, 700)), pen.lineTo((480, 700)), pen.closePath()
    builder = FontBuilder(1000, isTTF=False)
    builder.setupGlyphOrder([".notdef", "F"])
    builder.setupCharacterMap({ord("F"): "F"})
    shape = pen.getCharString()
    builder.setupCFF("Fern", {}, {".notdef": T2CharStringPen(500, None).getCharString(), "F": shape}, {})
    builder.setupHorizontalMetrics({".notdef": (500, 0), "F": (500, 20)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({}), builder.setupOS2(), builder.setupPost()
    builder.save(tmp_path / "brand.otf")
    assert opened(tmp_path / "brand.otf").has("F")


def test_what_keyturn_s_own_typeface_has_is_what_its_character_map_says() -> None:
    """fontTools' reading of the cmap table, letter by letter of Latin, Greek and Cyrillic."""
    face = opened(own_typeface())
    known = TTFont(own_typeface()).getBestCmap()
    letters = [chr(code) for code in (*range(0x21, 0x180), *range(0x370, 0x530)) if chr(code).isprintable()]
    assert [x for x in letters if x.isalpha() and face.has(x) != (ord(x) in known)] == []
    assert all(map(face.has, "ÄßŁżŞğăãñЖйїќѓΩάςώ€№–…"))
    assert not face.has("\u4e2d") and not face.has("\u0644")


def test_a_letter_composed_of_others_that_it_has_is_there(tmp_path: Path) -> None:
    face = opened(tmp_path / "brand.ttf", font_samples.font({"e": 500, "\u0301": 300}))
    assert face.has("é") and not face.has("è")


def test_the_weights_of_a_variable_font_and_of_a_plain_one(tmp_path: Path) -> None:
    assert opened(tmp_path / "plain.ttf", font_samples.font(FERN)).weights() is None
    varying = opened(tmp_path / "varying.ttf", font_samples.font(FERN, weights=(100, 400, 900)))
    assert varying.weights() == (100, 900)
    assert opened(own_typeface()).weights() == (100, 900)


def test_without_a_weight_a_variable_font_is_regular_and_a_weight_changes_its_letters(tmp_path: Path) -> None:
    """The boxes are 0.7 em high at 400, and 1.0 em at 900, half-way 0.85 (linear, OpenType 1.9, gvar)."""
    face = opened(tmp_path / "varying.ttf", font_samples.font(FERN, weights=(400, 400, 900)))

    def high(weight: int | None) -> int:
        return -face.sized(200, weight, ImageFont.Layout.BASIC).getbbox("F", anchor="ls")[1]

    assert (high(None), high(400)) == (140, 140)
    assert high(650) == pytest.approx(170, abs=1) and high(900) == pytest.approx(200, abs=1)


def test_the_typeface_that_comes_with_pillow_needs_no_file() -> None:
    face = fonts.opened(BUILT_IN, BUILT_IN.version, INTAKE)
    assert face.has("A") and not face.has("\u0416") and face.weights() is None


def test_a_changed_file_is_read_again(tmp_path: Path) -> None:
    assert not opened(tmp_path / "brand.ttf", font_samples.font({"F": 500})).has("e")
    opened_again = opened(tmp_path / "brand.ttf", font_samples.font({"F": 500, "e": 400}))
    assert opened_again.has("e")


def test_what_is_no_font_is_refused_by_its_name(tmp_path: Path) -> None:
    picture = tmp_path / "brand.ttf"
    Image.new("RGB", (4, 4)).save(picture, "PNG")
    assert refusal(picture) == ("font-kind", "brand.ttf")
    assert refusal(tmp_path / "many.ttc", b"ttcf\0\1\0\0" + bytes(40)) == ("font-kind", "many.ttc")
    assert refusal(tmp_path / "none.ttf", b"") == ("font-kind", "none.ttf")


def test_a_font_cut_short_is_refused(tmp_path: Path) -> None:
    whole = font_samples.font(FERN)
    for share in (0.02, 0.2, 0.5):
        assert refusal(tmp_path / "cut.ttf", whole[: int(len(whole) * share)]) == ("font-broken", "cut.ttf")


def test_a_font_larger_than_the_rule_allows_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.ttf"
    path.touch()
    os.truncate(path, int(INTAKE.words.font_mib * 2**20) + 1)
    assert refusal(path) == ("font-too-large", "huge.ttf")


def test_a_font_that_may_not_be_read_is_a_fault_of_the_shop_s_disk(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        opened(tmp_path / "gone.ttf")


SOUND = font_samples.font(FERN | {"\u05d0": 600}, weights=(100, 400, 900))


@given(st.data())
@settings(max_examples=examples(300), deadline=None)
def test_a_garbled_font_is_read_or_refused_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    garbled = bytearray(SOUND)
    for _ in range(data.draw(st.integers(1, 12))):
        garbled[data.draw(st.integers(0, len(garbled) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.mktemp("fonts") / "garbled.ttf"
    try:
        opened(path, bytes(garbled)).has("F")
    except Refused as refused:
        assert {reason.code for reason in refused.reasons} <= {"font-broken", "font-kind"}
