"""The fitter's card and INSTALL.txt."""

from __future__ import annotations

import re
from types import ModuleType

import pytest

from keyturn.pages.card import card, cards, install_text
from keyturn.shop import rulebook
from page_text import text_of

PROFILES = rulebook.load().radios
TALL = PROFILES["tall-768x1024"]


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


def test_a_card_needs_the_profile_of_each_radio(by_hand: ModuleType) -> None:
    with pytest.raises(KeyError, match="unheard-of"):
        cards(by_hand.job(by_hand.radio("unheard-of")), PROFILES, ())


def test_install_txt_says_when_the_home_screen_comes_later(by_hand: ModuleType) -> None:
    delayed = by_hand.radio(timeline=by_hand.timeline(delay_s=1.2))
    assert "up to 1.2 s later than before." in install_text(by_hand.job(), delayed, TALL, ())
    assert "later than before" not in install_text(by_hand.job(), by_hand.radio(), TALL, ())
