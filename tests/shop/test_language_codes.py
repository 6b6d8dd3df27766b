"""The codes of languages are those that people and browsers know."""

from __future__ import annotations

from babel import Locale

from keyturn.shop.language_codes import LANGUAGES, language_named


def test_each_code_is_a_language_that_cldr_knows() -> None:
    # the Unicode CLDR, as Babel carries it
    names = {code: Locale.parse(code).english_name for code in LANGUAGES}
    assert names["pl"] == "Polish"
    assert len(set(names.values())) == len(LANGUAGES) == 7


def test_what_people_call_a_language_names_it() -> None:
    # the Unicode CLDR: names of languages in English and in themselves
    for code in LANGUAGES:
        there = Locale.parse(code)
        assert language_named(there.english_name or "") == code
        assert language_named(there.display_name or "") == code
        assert language_named(f"{code}-XX") == code
    assert language_named("Klingon") is None
