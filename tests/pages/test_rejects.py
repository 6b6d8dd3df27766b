"""REJECTED.html and REJECTED.txt."""

from __future__ import annotations

import html
import re
from types import ModuleType

from keyturn.pages.rejects import rejected_html, rejected_text
from keyturn.shop.papers import Letterhead
from keyturn.shop.reasons import Exhibit, note
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
    assert "\n".join(lines) in html.unescape(rejected_html(rejection)), "one block to select and paste"


def test_the_place_that_is_meant_is_marked_on_the_picture_and_told_in_words(by_hand: ModuleType) -> None:
    cut = Exhibit(name="lamps/0001.png", kept=(0.25, 0.0, 0.75, 1.0))
    flash = Exhibit(name="tiny: part 1, frame 2", radio="tiny", picture=1, marked=(0.5, 0.5, 1.0, 1.0))
    reasons = (
        by_hand.refuse("flashes", "4 general flashes", "make it gentler").model_copy(update={"exhibits": (flash,)}),
        note("art-cut-off", "50% of it is cut off", "write:\nfit = 'contain'", file=cut.name, exhibits=(cut,)),
    )
    pictures = {cut.name: "data:image/webp;base64,AAAA", flash.name: "data:image/webp;base64,BBBB"}
    page = rejected_html(by_hand.rejection(reasons=reasons, pictures=pictures))
    assert page.count("<svg") == 2 and 'aria-hidden="true"' in page
    assert "M0.5 0.5H1.0V1.0H0.5Z" in page and "M0 0H1V1H0ZM0.25 0.0H0.75V1.0H0.25Z" in page
    assert "The place is outlined." in page and "the dark rest is cut off" in page
    assert 'alt="tiny: part 1, frame 2"' in page


def test_an_exhibit_whose_picture_could_not_be_made_is_left_out(by_hand: ModuleType) -> None:
    reason = by_hand.refuse("frames-doubled", "has the number 2", "keep one")
    shown = tuple(Exhibit(name=name) for name in ("2.png", "2 (1).png"))
    rejection = by_hand.rejection(reasons=(reason.model_copy(update={"exhibits": shown}),), pictures={})
    assert "<figure" not in rejected_html(rejection)


def test_page_and_text_are_in_the_shops_language_reasons_and_all(by_hand: ModuleType) -> None:
    german = Letterhead("Lantern Row Radio", language="de")
    reasons = (
        by_hand.refuse("picture-empty", "is empty (0 bytes)", "copy it again", file="lamps/0007.png"),
        by_hand.refuse("newer", "is told by a newer Keyturn", "read its own page"),
    )
    rejection = by_hand.rejection(reasons=reasons)
    page, text = rejected_html(rejection, german), rejected_text(rejection, german)
    assert '<html lang="de">' in page
    for told in (text_of(page), " ".join(text.split())):
        assert "2 M\u00e4ngel zu beheben" in told
        assert "ist leer (0 Byte)" in told
        assert "kopieren Sie es noch einmal" in told
        assert "is empty" not in told
        assert "is told by a newer Keyturn" in told
    assert '<bdi lang="de">ist leer (0 Byte)</bdi>' in page
    assert '<bdi lang="en">is told by a newer Keyturn</bdi>' in page


def test_a_name_in_arabic_text_is_isolated_and_cannot_turn_what_is_beside_it(by_hand: ModuleType) -> None:
    """Unicode Bidirectional Algorithm, 2.4. The name itself holds U+202E, which would turn the line round."""
    arabic = Letterhead("Lantern Row Radio", language="ar")
    reason = by_hand.refuse("frames-doubled", "has the number 12, as has lamps/\u202e12.png", "keep the right one")
    text = rejected_text(by_hand.rejection(reasons=(reason,)), arabic)
    assert "\u2068lamps/\ufffd12.png\u2069" in text
    assert "\u202e" not in text
