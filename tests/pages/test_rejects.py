"""REJECTED.html and REJECTED.txt."""

from __future__ import annotations

import re
from types import ModuleType

from keyturn.pages.rejects import rejected_html, rejected_text
from page_text import text_of


def test_the_page_bears_the_shops_name(by_hand: ModuleType) -> None:
    page = rejected_html(by_hand.rejection(), by_hand.LETTERHEAD)
    for fact in by_hand.LETTERHEAD_FACTS:
        assert fact in page
    assert "<address" not in rejected_html(by_hand.rejection())


def test_a_refusal_shows_everything_at_once_file_by_file(by_hand: ModuleType) -> None:
    page = rejected_html(by_hand.rejection())
    text = text_of(page)
    assert "4 things to mend" in text
    assert "drag this folder back to the inbox" in text
    for reason in by_hand.reasons():
        assert reason.what in text
        assert reason.mend in text
    assert page.count("<h3") == 5  # job.toml, the doubled frame, the whole drop; mended; to know
    assert page.count(by_hand.picture(12)) == 1  # beside both its faults


def test_the_text_of_a_refusal_says_the_same(by_hand: ModuleType) -> None:
    text = rejected_text(by_hand.rejection())
    for reason in by_hand.reasons():
        assert reason.what in text
        assert reason.mend in text
    assert "2. lamps/0012 (1).png\n   frame 12 is there twice\n   -> take one of them out\n" in text
    assert max(map(len, text.splitlines())) <= 78


def test_a_name_cannot_turn_or_break_the_lines_of_the_text(by_hand: ModuleType) -> None:
    # Unicode Standard Annex 9: U+202E overrides the direction of all that follows in its line
    odd = by_hand.refuse("odd", "what\nREFUSED: other", "mend", file="a\u202egnp.\x1b[2J")
    text = rejected_text(by_hand.rejection(reasons=(odd,)))
    assert not re.search("[\u202e\x1b]", text)
    assert "\nREFUSED: other" not in text


def test_what_was_mended_and_what_is_to_know_stands_after_what_is_wrong(by_hand: ModuleType) -> None:
    lines = rejected_text(by_hand.rejection()).splitlines()
    places = [lines.index(title) for title in ("TO MEND", "ALREADY MENDED FOR YOU", "TO KNOW")]
    assert places == sorted(places)
    only_wrong = rejected_text(by_hand.rejection(reasons=(by_hand.refuse("no-art", "no pictures", "put one in"),)))
    assert "1 thing to mend" in only_wrong
    assert "ALREADY MENDED" not in only_wrong and "TO KNOW" not in only_wrong


def test_lines_to_paste_stand_each_in_a_line_of_its_own(by_hand: ModuleType) -> None:
    lines = 'customer = "Fern Hollow Mobile Library and all its many branches in the hills"', 'radio = "tiny"'
    reason = by_hand.refuse("manifest-missing", "is not there", "\n".join(["save these:", *lines]))
    rejection = by_hand.rejection(reasons=(reason,))
    assert f"   -> save these:\n      {lines[0]}\n      {lines[1]}\n" in rejected_text(rejection)
    assert "save these:</bdi><br><bdi>customer" in rejected_html(rejection)
