"""A text set for a panel: what refuses it, how lines break and how it is made to fit. Letters are boxes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

import font_samples
from keyturn.flatten import fonts, letter_order, set_words
from keyturn.flatten.fonts import BUILT_IN, FontFile
from keyturn.flatten.set_words import WordsJob, WordsSet
from keyturn.shop import rulebook
from keyturn.shop.reasons import Kind, Reason, Refused
from keyturn.shop.shop_fonts import own_typeface

INTAKE = rulebook.load().intake
PANEL = (500, 300)
MakeJob = Callable[..., WordsJob]


@pytest.fixture
def job(tmp_path: Path) -> MakeJob:
    """job("F F", fit=0.5): boxes of half an em in lines of 100 pixels, an em each, on a panel 500 pixels wide."""
    (tmp_path / "boxes.ttf").write_bytes(font_samples.font({"F": 500, "H": 500, " ": 500}))
    plain = WordsJob(
        text="",
        fonts=(FontFile(tmp_path / "boxes.ttf", "boxes.ttf"),),
        named=True,
        weight=None,
        align="centre",
        wrap=None,
        fit=None,
        line_px=100.0,
        panel=PANEL,
        least_px=7.0,
        intake=INTAKE,
    )
    return lambda text, **more: replace(plain, text=text, **more)


def refusal(job: WordsJob) -> Reason:
    with pytest.raises(Refused) as caught:
        set_words.set_words(job)
    with pytest.raises(Refused) as again:
        set_words.check_words(job)
    assert again.value.reasons == caught.value.reasons
    (reason,) = caught.value.reasons
    assert reason.mend
    return reason


def lines(found: WordsSet) -> list[str]:
    return [run.text for run in found.words.runs]


def test_words_that_fit_stay_as_they_are(job: MakeJob) -> None:
    """Four half ems of 100 px are 200 px, and 0.5 of the panel is 250."""
    found = set_words.set_words(job("FFFF", fit=0.5))
    assert (found.scale, found.reasons) == (1.0, ())


def test_words_are_made_as_small_as_they_must_be_to_fit(job: MakeJob) -> None:
    """Ten half ems of 100 px are 500 px, twice 250."""
    found = set_words.set_words(job("F" * 10, fit=0.5))
    assert found.scale == pytest.approx(0.5, rel=0.01) and found.reasons == ()


def test_words_are_made_no_smaller_than_can_be_read_and_the_note_says_by_how_much_they_are_too_long(
    job: MakeJob,
) -> None:
    """Capitals are 0.7 em high, so 28 px of them are lines of 40 px; in these the words are 500 x 0.4 = 200 px wide,
    and 0.3 of the panel is 150."""
    found = set_words.set_words(job("F" * 10, fit=0.3, least_px=28.0))
    assert found.scale == pytest.approx(0.4, rel=0.01)
    (told,) = found.reasons
    assert (told.code, told.kind) == ("words-too-long", Kind.NOTE)
    assert "1.33 times" in told.what and "40 pixels high" in told.what and "wrap" in told.mend


def test_words_that_were_smaller_than_can_be_read_stay_as_they_are(job: MakeJob) -> None:
    found = set_words.set_words(job("F" * 200, fit=0.3, line_px=20.0, least_px=28.0))
    assert found.scale == 1.0 and [reason.code for reason in found.reasons] == ["words-too-long"]


def test_lines_are_broken_at_a_share_of_the_panel_s_width(job: MakeJob) -> None:
    """0.5 x 500 px are 2.5 em of 100 px: five letters or blanks."""
    found = set_words.set_words(job("FF FF FF", wrap=0.5))
    assert lines(found) == ["FF FF", "FF"] and found.scale == 1.0


def test_broken_lines_are_made_smaller_until_the_longest_word_fits(job: MakeJob) -> None:
    """The long word is 6 half ems: 300 px at 100 px an em, and must be 200. Smaller letters leave room for more."""
    found = set_words.set_words(job("FF FFFFFF FF", wrap=0.4, fit=0.4))
    assert found.scale == pytest.approx(2 / 3, rel=0.04) and found.scale <= 2 / 3 * 1.001
    assert lines(found) == ["FF", "FFFFFF", "FF"]
    assert found.words.width * 100 * found.scale <= 200.1


def test_words_of_no_size_and_of_no_ink_are_set_all_the_same(job: MakeJob) -> None:
    assert set_words.set_words(job("F F", wrap=0.5, fit=0.5, line_px=0.0)).scale == 1.0
    assert set_words.set_words(job("\u200e", fit=0.5)).words.width == 0.0


def test_what_raqm_must_set_is_refused_where_it_is_missing(job: MakeJob, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(set_words, "shapes_any_script", lambda: False)
    monkeypatch.setattr(fonts, "shapes_any_script", lambda: False)
    monkeypatch.setattr(letter_order, "_LIBRARIES", ())
    letter_order._fribidi.cache_clear()
    reason = refusal(job("ליל F"))
    assert reason.code == "words-not-set" and "keyturn doctor" in reason.mend
    assert lines(set_words.set_words(job("F F"))) == ["F F"], "letters side by side need no Raqm"
    letter_order._fribidi.cache_clear()


def test_letters_forced_into_one_direction_are_refused(job: MakeJob) -> None:
    assert refusal(job("F\u202eFH\u202c")).code == "words-turned-round"


def test_letters_without_a_shape_are_refused_by_their_names(job: MakeJob) -> None:
    reason = refusal(job("FЖ\u4e2d"))
    assert "Ж (CYRILLIC CAPITAL LETTER ZHE), \u4e2d (CJK UNIFIED IDEOGRAPH-4E2D)" in reason.what


def test_a_broken_font_that_was_not_asked_for_is_passed_over(job: MakeJob, tmp_path: Path) -> None:
    (tmp_path / "broken.ttf").write_bytes(b"\0\1\0\0 cut")
    (tmp_path / "more.ttf").write_bytes(font_samples.font({"Ж": 300}))
    chain = (*job("").fonts, FontFile(tmp_path / "broken.ttf"), FontFile(tmp_path / "more.ttf"))
    found = set_words.set_words(job("FЖ", fonts=chain))
    assert [file.path.name for file in found.words.fonts if file.path] == ["boxes.ttf", "more.ttf"]
    assert refusal(job("F", fonts=chain[1:2])).code == "font-broken"


def test_a_font_of_the_shop_is_opened_only_where_letters_are_missing(job: MakeJob, tmp_path: Path) -> None:
    chain = (*job("").fonts, FontFile(tmp_path / "gone.ttf"))
    assert lines(set_words.set_words(job("FF", fonts=chain))) == ["FF"]
    with pytest.raises(FileNotFoundError):
        set_words.set_words(job("FЖ", fonts=chain))


def test_the_typeface_of_pillow_can_be_the_first(job: MakeJob) -> None:
    found = set_words.set_words(job("Fern", fonts=(BUILT_IN,), named=False))
    assert found.words.fonts == (BUILT_IN,) and len(found.ink) > 500


def test_the_ink_is_that_of_the_letters_alone(job: MakeJob) -> None:
    found = set_words.set_words(job("Fern", fonts=(FontFile(own_typeface()),), named=False))
    assert found.ink.min() >= 0 and found.ink.max() <= 1
