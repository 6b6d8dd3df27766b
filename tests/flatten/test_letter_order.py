"""The order of letters, by Unicode's own test file."""

from __future__ import annotations

import os
import sys
import unicodedata
from pathlib import Path

import pytest

from keyturn.flatten import letter_order

UNICODE = Path("/usr/share/unicode/BidiCharacterTest.txt")


@pytest.mark.system
def test_levels_and_order_are_those_of_unicode_s_test_file() -> None:
    """BidiCharacterTest.txt of the Unicode Character Database: its lines whose direction is that of their first
    letter, without control characters and blanks at the end, which no line has that Keyturn sets."""
    if not UNICODE.exists():
        message = f"{UNICODE} is not installed (apt install unicode-data)"
        pytest.fail(message) if os.environ.get("CI") else pytest.skip(message)
    tried = 0
    for line in UNICODE.read_text(encoding="utf-8").splitlines()[:: 1 if os.environ.get("CI") else 7]:
        if not line or line.startswith("#"):
            continue
        codes, _, own, levels, order = line.split(";")
        text = "".join(chr(int(code, 16)) for code in codes.split())
        first = {"L": "0", "R": "1", "AL": "1"}.get(unicodedata.bidirectional(text[0]), "")
        controls = any(ord(letter) < 32 or letter in "\x85\u2028\u2029" for letter in text)
        if first != own or "x" in levels or controls or text[-1].isspace():
            continue
        expected = tuple(map(int, levels.split()))
        assert letter_order.levels(text) == expected, line
        assert letter_order.runs_as_seen(expected) == [int(place) for place in order.split()], line
        tried += 1
    assert tried > 500


def test_plain_latin_has_one_level_and_needs_no_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(letter_order, "_LIBRARIES", ())
    letter_order._fribidi.cache_clear()
    assert letter_order.levels("Fern, 9 to 5") == (0,) * 12
    with pytest.raises(OSError, match="FriBidi"):
        letter_order.levels("שלום")
    letter_order._fribidi.cache_clear()


@pytest.mark.parametrize("text", ["Fern Hollow – Grüße", "Καλημέρα", "Їжак", "東京の朝", "안녕", "e\u0301té"])
def test_letters_that_stand_side_by_side_need_no_raqm(text: str) -> None:
    assert not letter_order.needs_raqm(text)


@pytest.mark.parametrize(
    "text", ["ليلى", "שלום", "नमस्ते", "สวัสดี", "வணக்கம்", "x\u0330", "ខ្មែរ", "မြန်မာ", "བོད", "ދިވެހި", "👩\u200d👧"]
)
def test_letters_that_join_turn_or_stand_above_each_other_need_it(text: str) -> None:
    assert letter_order.needs_raqm(text)


def test_what_needs_raqm_holds_every_script_from_right_to_left() -> None:
    """Python's unicodedata: each letter of a right-to-left class."""
    turned = (chr(code) for code in range(0x20, sys.maxunicode) if not 0xD800 <= code < 0xE000)
    missed = [c for c in turned if unicodedata.bidirectional(c) in ("R", "AL") and not letter_order.needs_raqm(c)]
    assert missed == []


def test_marks_of_direction_are_not_drawn() -> None:
    assert letter_order.without_unseen("a\u200eb\u2067c\u2069\u200b\ufeff") == "abc"
