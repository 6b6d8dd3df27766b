"""A language has its own sentences, numbers, dates and plurals; English reads as it is written in the code."""

from __future__ import annotations

import pytest
from babel.dates import format_date
from babel.numbers import format_decimal

from keyturn.pages.languages import ENGLISH, Language, language_of, language_of_customer
from keyturn.shop.language_codes import LANGUAGES

OTHERS = [code for code in LANGUAGES if code != "en"]


def test_english_is_the_sentence_itself() -> None:
    assert ENGLISH.gettext("Part %(n)s of 100 %%", n=3) == "Part 3 of 100 %"
    assert ENGLISH.ngettext("%(num)s frame", "%(num)s frames", 1) == "1 frame"
    assert ENGLISH.ngettext("%(num)s frame", "%(num)s frames", 1200) == "1,200 frames"


@pytest.mark.parametrize("code", OTHERS)
def test_a_sentence_without_translation_still_shows(code: str) -> None:
    assert language_of(code).gettext("Nobody has translated %(what)s.", what="this") == "Nobody has translated this."


def test_a_language_that_is_not_known_is_english() -> None:
    assert language_of("xx") is ENGLISH
    assert language_of("../../etc") is ENGLISH


@pytest.mark.parametrize("code", OTHERS)
def test_numbers_and_dates_are_those_of_cldr(code: str) -> None:
    import datetime

    language = language_of(code)
    # the Unicode CLDR, as Babel carries it
    assert language.decimal(12345.678, 1) == format_decimal(12345.7, locale=code)
    assert language.day("2026-03-01T09:30:00") == format_date(datetime.date(2026, 3, 1), "long", locale=code)
    assert language.day("not a day") == "not a day"
    assert language.moment("2026-03-01T23:30:00-02:00").endswith("01:30 UTC")


def test_a_number_that_is_whole_has_no_separator_at_its_end() -> None:
    assert language_of("de").decimal(48) == "48"
    assert language_of("de").decimal(48, 1) == "48,0"


def test_only_right_to_left_languages_isolate_names() -> None:
    assert Language("ar").direction == "rtl"
    # Unicode Bidirectional Algorithm (UAX 9), 2.4: FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE
    assert Language("ar").isolated("desc.txt") == "\u2068desc.txt\u2069"
    assert Language("de").isolated("desc.txt") == "desc.txt"


def test_a_customers_sheet_is_in_the_language_that_was_named_last() -> None:
    assert language_of_customer([("2026-03-01", "fr"), ("2026-03-03", None), ("2026-03-02", "pl")], "de").code == "pl"
    assert language_of_customer([("2026-03-01", None)], "de").code == "de"
    assert language_of_customer([("2026-03-01", "xx")], "de").code == "en"
