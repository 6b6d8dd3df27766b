"""Plain text for a stick: what old editors and narrow screens need of it."""

from __future__ import annotations

import codecs

import pytest

from keyturn.pages.languages import language_of
from keyturn.pages.text_file import WIDTH, chapter, text_file, wrapped

ENGLISH, GERMAN, ARABIC = map(language_of, ("en", "de", "ar"))


def test_english_is_ascii_with_crlf_and_without_a_mark() -> None:
    text = text_file(wrapped("Caf\u00e9 \u00d7 2, \u96fb\u6c60\u202e", "", ENGLISH), ENGLISH)
    assert text == "Cafe x 2, ???\r\n" and text.encode("ascii")


@pytest.mark.parametrize("language", [GERMAN, ARABIC])
def test_other_languages_begin_with_a_byte_order_mark(language) -> None:  # type: ignore[no-untyped-def]
    data = text_file(wrapped("Stra\u00dfe\u202e", "", language), language).encode("utf-8")
    assert data.startswith(codecs.BOM_UTF8) and data.endswith("Stra\u00dfe?\r\n".encode())


def test_lines_are_narrow_and_hang_below_their_number() -> None:
    lines = list(chapter("Load", ["Copy the files. " * 12, "Eject it."], None, ENGLISH))
    assert lines[:3] == ["", "LOAD", "----"] and lines[3].startswith("1. Copy") and lines[4].startswith("   ")
    assert lines[-1] == "2. Eject it." and max(map(len, lines)) <= WIDTH


def test_a_mark_stands_before_each_text() -> None:
    assert list(chapter("Files", ["a", "b"], "-", ENGLISH))[3:] == ["- a", "- b"]
