"""The board, the fitter's card with INSTALL.txt, and what an artist reads in a refused drop."""

from __future__ import annotations

import re
from html import unescape
from itertools import pairwise
from types import ModuleType

import pytest

from keyturn.pages import render
from keyturn.pages.board import board
from keyturn.pages.card import card, cards, install_text
from keyturn.pages.charts import ticks
from keyturn.pages.rejects import rejected_html, rejected_text
from keyturn.shop import rulebook

PROFILES = rulebook.load().radios
TALL = PROFILES["tall-768x1024"]


def text_of(page: str) -> str:
    page = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", "", page)).split())


# -- the board --------------------------------------------------------------------------------------


def test_the_board_lists_what_waits_runs_is_ready_and_was_refused(by_hand: ModuleType) -> None:
    text = text_of(board(by_hand.state()))
    for fact in (
        "1 in work, 2 waiting, 1 ready",
        "Written 2026-03-01 09:32 UTC",
        "van-five frames 17 of 48",
        "van-four rush 50 files",
        "still being copied",
        "van-two, revision 2",
        'job.toml in custmer: there is no key "custmer"',
    ):
        assert fact in text, fact
    assert "Paused" not in text


def test_the_boards_links_are_relative_to_the_outbox(by_hand: ModuleType) -> None:
    page = board(by_hand.state())
    assert 'href="./fern-hollow-mobile-library/van-two-r2/card.html"' in page
    assert 'href="./fern-hollow-mobile-library/proof.html"' in page
    assert 'href="../rejects/van-three/REJECTED.html"' in page


def test_a_refused_drop_of_any_name_is_linked_to(by_hand: ModuleType) -> None:
    refused = by_hand.state().refused[0].model_copy(update={"path": "rejects/a #1? 100%"})
    page = board(by_hand.state(refused=(refused,)))
    # RFC 3986, 3.3: space, #, ? and % cannot stand in a path as they are
    assert 'href="../rejects/a%20%231%3F%20100%25/REJECTED.html"' in page


def test_a_paused_shop_says_why_first(by_hand: ModuleType) -> None:
    text = text_of(board(by_hand.state(paused="No space left on device", running=True)))
    assert text.index("No space left on device") < text.index("In work")


def test_a_stopped_service_is_said_to_be_so(by_hand: ModuleType) -> None:
    assert "The service is not running" in board(by_hand.state(running=False))
    assert "The service is not running" not in board(by_hand.state())


def test_the_board_refreshes_itself_without_script_too(by_hand: ModuleType) -> None:
    assert '<meta http-equiv="refresh" content="10">' in board(by_hand.state())


# -- the card ---------------------------------------------------------------------------------------


def test_the_card_has_cautions_before_steps_and_all_steps_in_order(by_hand: ModuleType) -> None:
    text = text_of(card(by_hand.job(), by_hand.radio(), TALL, by_hand.CAUTIONS))
    wanted = [*by_hand.CAUTIONS, *TALL.steps.load, *TALL.steps.confirm, *TALL.steps.restore]
    places = [text.index(words) for words in wanted]
    assert places == sorted(places)
    assert "bootanimation.zip9.0 MiB (9,437,184 bytes), SHA-256 begins abababababab" in text
    assert "Home screen, 16.0 s to 21.0 s after the first frame" in text


def test_a_job_for_several_radios_has_a_section_for_each(by_hand: ModuleType) -> None:
    job = by_hand.job(by_hand.radio(folder="usb-tall"), by_hand.radio("wide-1024x600", (1024, 600), folder="usb-wide"))
    page = cards(job, PROFILES, by_hand.CAUTIONS)
    assert page.count('<section class="radio"') == 2
    assert {"usb-tall/", "usb-wide/"} <= set(re.findall(r"usb-\w+/", page))


def test_install_txt_can_be_read_anywhere(by_hand: ModuleType) -> None:
    """ASCII (ISO 646) with CRLF, lines of at most 72 columns."""
    job = by_hand.job(customer="B\u00fccherbus \u56f3\u66f8", job=by_hand.HOSTILE)
    text = install_text(job, by_hand.radio(), TALL, by_hand.CAUTIONS)
    text.encode("ascii")
    lines = text.split("\r\n")
    assert lines.pop() == ""
    assert all("\n" not in line and "\r" not in line and len(line) <= 72 for line in lines)
    assert "for Bucherbus ??" in text.replace("\r\n", " ")
    for number, step in enumerate(TALL.steps.load, start=1):
        assert f"{number}. {step[:30]}" in text


def test_install_txt_is_written_before_the_files_are_and_names_them_all_the_same(by_hand: ModuleType) -> None:
    text = install_text(by_hand.job(), by_hand.radio(files=()), TALL, by_hand.CAUTIONS)
    assert "- bootanimation.zip, 9.0 MiB\r\n- logo.png\r\n" in text


# -- a refused drop ---------------------------------------------------------------------------------


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


# -- figures ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "0 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.985, "98 %"), (0.9999, "over 99 %"), (1.0, "100 %")],
)
def test_only_nothing_is_0_and_only_all_is_100_percent(value: float, words: str) -> None:
    assert render.share(value) == words


def test_sizes_are_binary_multiples() -> None:
    # IEC 80000-13: 1 KiB = 1024 bytes, 1 MiB = 1024 KiB
    assert render.mib(1024) == "1 KiB"
    assert render.mib(3 * 1024 * 1024) == "3.0 MiB"


def test_times_are_utc_and_what_is_no_time_stays() -> None:
    assert render.moment("2026-03-01T23:30:00-02:00") == "2026-03-02 01:30 UTC"
    assert render.day("2026-03-01T09:30:00") == "1 March 2026"
    assert render.moment("") == ""


@pytest.mark.parametrize("end", [0.05, 0.9, 3.3, 21.8, 47.0, 600.0])
def test_axis_marks_are_few_even_and_round(end: float) -> None:
    marks = ticks(end)
    steps = {round(b - a, 6) for a, b in pairwise(marks)}
    assert marks[0] == 0
    assert marks[-1] <= end
    assert len(marks) <= 8
    assert len(steps) <= 1
    # 1, 2 or 5 times a power of ten: common practice of chart drawing, no source
    assert all(f"{step:.0e}"[0] in "125" for step in steps)
