"""The languages in which Keyturn writes what customers, fitters and artists read."""

from __future__ import annotations

from typing import Literal, get_args

LanguageCode = Literal["en", "de", "es", "fr", "pt", "pl", "ar"]
"""Codes of ISO 639-1: English, German, Spanish, French, Portuguese (Brazil's), Polish, Arabic."""

LANGUAGES: tuple[LanguageCode, ...] = get_args(LanguageCode)
