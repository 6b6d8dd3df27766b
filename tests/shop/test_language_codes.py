"""The codes of languages are those that people and browsers know."""

from __future__ import annotations

from babel import Locale

from keyturn.shop.language_codes import LANGUAGES


def test_each_code_is_a_language_that_cldr_knows() -> None:
    # the Unicode CLDR, as Babel carries it
    names = {code: Locale.parse(code).english_name for code in LANGUAGES}
    assert names["pl"] == "Polish"
    assert len(set(names.values())) == len(LANGUAGES) == 7
