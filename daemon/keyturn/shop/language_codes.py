"""The languages in which Keyturn writes what customers, fitters and artists read."""

from __future__ import annotations

import re
from typing import Literal, get_args

from keyturn.shop.folding import folded

LanguageCode = Literal["en", "de", "es", "fr", "pt", "pl", "ar"]
"""Codes of ISO 639-1: English, German, Spanish, French, Portuguese (Brazil's), Polish, Arabic."""

LANGUAGES: tuple[LanguageCode, ...] = get_args(LanguageCode)

_NAMES: dict[str, LanguageCode] = {
    "english": "en",
    "german": "de",
    "deutsch": "de",
    "spanish": "es",
    "español": "es",
    "espanol": "es",
    "french": "fr",
    "français": "fr",
    "francais": "fr",
    "portuguese": "pt",
    "português": "pt",
    "portugues": "pt",
    "polish": "pl",
    "polski": "pl",
    "arabic": "ar",
    "العربية": "ar",
}
"""What people call the languages, in English and in their own, as `folded` has it."""


def language_named(word: str) -> LanguageCode | None:
    """Return the code for a language's name, or for a code with a region such as "de-AT" (BCP 47); None for others."""
    first = re.split(r"[-_]", word.strip().casefold())[0]
    return next((code for code in LANGUAGES if code == first), _NAMES.get(folded(word)))
