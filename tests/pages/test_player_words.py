"""The player's sentences are all in the page, and the script asks for no other."""

from __future__ import annotations

import re

import pytest

from keyturn.pages.languages import language_of
from keyturn.pages.player_words import player_words
from keyturn.pages.render import TEMPLATES
from keyturn.shop.language_codes import LANGUAGES

SCRIPT = (TEMPLATES / "player.js").read_text(encoding="utf-8")


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_page_carries_every_sentence_that_the_player_says(code: str) -> None:
    words = player_words(language_of(code))
    said = set(re.findall(r'(?:say|told)\("(\w+)"', SCRIPT)) | {"again", "play", "resting", "frame", "repeating"}
    assert said <= set(words)
    assert set(words) - said <= {"standing", "point"}


def test_decimals_stand_after_the_sign_of_the_language() -> None:
    # Unicode CLDR: decimal separators
    assert {code: player_words(language_of(code))["point"] for code in ("en", "de", "pl")} == {
        "en": ".",
        "de": ",",
        "pl": ",",
    }
