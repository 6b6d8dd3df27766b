"""Words laid out with fonts whose letters are boxes of known width: widths, lines and places done in the head."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import font_samples
from keyturn.flatten import fonts
from keyturn.flatten.fonts import FontFile
from keyturn.flatten.text_layout import Faces, SetText, laid_out
from keyturn.shop import rulebook

INTAKE = rulebook.load().intake
LATIN = dict.fromkeys("abcdefghijF-", 500) | {" ": 250, "i": 200}
HEBREW = dict.fromkeys("אבגד", 700) | {" ": 250}
NEAR = 0.004

MakeFaces = Callable[..., Faces]


@pytest.fixture
def faces(tmp_path: Path) -> MakeFaces:
    """faces(LATIN, HEBREW): fonts with these letters, in this order."""

    def make(*letters: dict[str, int]) -> Faces:
        files = []
        for number, widths in enumerate(letters):
            path = tmp_path / f"{number}.ttf"
            path.write_bytes(font_samples.font(widths))
            files.append(FontFile(path, path.name))
        return Faces(tuple(files), tuple(fonts.opened(file, file.version, INTAKE) for file in files), None)

    return make


def seen(words: SetText) -> list[tuple[str, int, float]]:
    """Text, font and left end of each run, from left to right."""
    return [(run.text, run.font, run.x) for run in words.runs]


def test_a_line_is_as_wide_as_its_letters_and_as_high_as_its_font(faces: MakeFaces) -> None:
    words = laid_out("fai", faces(LATIN), align="left")
    assert words.width == pytest.approx(1.2, abs=NEAR)
    assert (words.height, words.line) == pytest.approx((1.0, 1.0), abs=NEAR)
    (run,) = words.runs
    assert (run.x, run.y, run.rtl) == (0.0, pytest.approx(0.8, abs=NEAR), False)


def test_each_letter_is_taken_from_the_first_font_that_has_it(faces: MakeFaces) -> None:
    words = laid_out("ab אב", faces(LATIN, HEBREW), align="left")
    assert seen(words) == [("ab ", 0, 0.0), ("אב", 1, pytest.approx(1.25, abs=NEAR))]
    assert [file.name for file in words.fonts] == ["0.ttf", "1.ttf"]
    assert [file.name for file in laid_out("ab", faces(HEBREW, LATIN), align="left").fonts] == ["0.ttf", "1.ttf"]


def test_a_font_that_gives_no_letter_is_not_among_the_text_s(faces: MakeFaces) -> None:
    assert [file.name for file in laid_out("ab", faces(LATIN, HEBREW), align="left").fonts] == ["0.ttf"]


def test_a_text_from_right_to_left_holds_latin_words_and_digits_in_their_own_order(faces: MakeFaces) -> None:
    """Unicode Standard Annex 9: the first letter makes the line run from right to left."""
    words = laid_out("אב abc גד", faces(LATIN, HEBREW), align="left")
    assert [(text.strip(), font) for text, font, _ in seen(words) if text.strip()] == [("גד", 1), ("abc", 0), ("אב", 1)]
    assert [run.rtl for run in words.runs if run.text.strip()] == [True, False, True]


def test_a_mark_stays_in_the_font_of_its_letter(faces: MakeFaces) -> None:
    """The first font has the letter but not the mark upon it; both come from the second."""
    words = laid_out("fa\u0330", faces({"f": 500, "a": 500}, {"a": 300, "\u0330": 100}), align="left")
    assert [(run.text, run.font) for run in words.runs] == [("f", 0), ("a\u0330", 1)]


def test_a_font_without_a_blank_leaves_blanks_to_another(faces: MakeFaces) -> None:
    words = laid_out("f a", faces({"f": 500, "a": 500}, LATIN), align="left")
    assert [(run.text, run.font) for run in words.runs] == [("f", 0), (" ", 1), ("a", 0)]
    assert faces({"f": 500, "a": 500}).missing("f a") == [" "]


def test_letters_that_no_font_has_are_named_once(faces: MakeFaces) -> None:
    found = faces(LATIN, HEBREW)
    assert found.missing("ab אב") == []
    assert found.missing("aжbжы") == ["ж", "ы"]
    assert faces({"a": 500}, {"\u0330": 100}).missing("a\u0330") == ["a", "\u0330"], "no one font has both"


def test_lines_break_between_words_and_after_hyphens(faces: MakeFaces) -> None:
    """Unicode Standard Annex 14. "ab-ab ab" in lines of 1.6 em: three letters of half an em."""
    words = laid_out("ab-ab ab", faces(LATIN), align="left", most=1.6)
    assert [run.text for run in words.runs] == ["ab-", "ab", "ab"]
    assert [run.y for run in words.runs] == pytest.approx([0.8, 1.8, 2.8], abs=3 * NEAR)
    assert words.height == pytest.approx(3.0, abs=3 * NEAR)


def test_ideographs_break_anywhere_but_before_a_full_stop(faces: MakeFaces) -> None:
    letters = dict.fromkeys("東京の朝。", 1000)
    words = laid_out("東京の朝。", faces(letters), align="left", most=2.1)
    assert [run.text for run in words.runs] == ["東京", "の", "朝。"]


def test_a_word_wider_than_the_line_stands_alone(faces: MakeFaces) -> None:
    words = laid_out("a abcdefgh b", faces(LATIN), align="left", most=1.0)
    assert [run.text for run in words.runs] == ["a", "abcdefgh", "b"]
    assert words.width == pytest.approx(4.0, abs=4 * NEAR)


def test_a_soft_hyphen_shows_where_the_line_breaks_there_alone(faces: MakeFaces) -> None:
    found = faces(LATIN)
    assert [run.text for run in laid_out("abc\u00addef", found, align="left", most=2.1).runs] == ["abc", "-", "def"]
    assert [run.text for run in laid_out("abc\u00addef", found, align="left", most=9.0).runs] == ["abcdef"]


@pytest.mark.parametrize(("align", "places"), [("left", [0.0, 0.0]), ("centre", [0.5, 0.0]), ("right", [1.0, 0.0])])
def test_the_shorter_line_is_aligned(faces: MakeFaces, align: str, places: list[float]) -> None:
    words = laid_out("ab\nabcd", faces(LATIN), align=align)  # type: ignore[arg-type]
    assert [run.x for run in words.runs] == pytest.approx(places, abs=NEAR)


def test_an_empty_line_between_two_stays_one(faces: MakeFaces) -> None:
    words = laid_out("ab\n\ncd", faces(LATIN), align="left")
    assert [run.y for run in words.runs] == pytest.approx([0.8, 2.8], abs=3 * NEAR)


def test_a_higher_font_makes_every_line_higher_and_the_first_says_how_high_a_line_is(tmp_path: Path) -> None:
    from fontTools.ttLib import TTFont

    (tmp_path / "low.ttf").write_bytes(font_samples.font(LATIN))
    (tmp_path / "plain.ttf").write_bytes(font_samples.font(HEBREW))
    high = TTFont(tmp_path / "plain.ttf")
    high["hhea"].ascent = high["OS/2"].sTypoAscender = high["OS/2"].usWinAscent = 1300
    high.save(tmp_path / "high.ttf")
    files = tuple(FontFile(tmp_path / name) for name in ("low.ttf", "high.ttf"))
    both = Faces(files, tuple(fonts.opened(file, file.version, INTAKE) for file in files), None)
    words = laid_out("ab אב", both, align="left")
    assert (words.line, words.height) == pytest.approx((1.0, 1.5), abs=NEAR)
