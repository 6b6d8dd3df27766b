"""What a customer reads: sentences without the workshop's words."""

from __future__ import annotations

import re
from pathlib import Path
from types import ModuleType

import pytest

import keyturn
from keyturn.pages import customer_words
from keyturn.shop.reasons import mended, note
from keyturn.shop.records import FlashRecord

WORKSHOP = re.compile(r"part\d|\bfps\b|MiB|\bbits?\b|\bSHA\b|desc\.txt|\.png|\bframes?\b|\bms\b", re.IGNORECASE)
"""Words that only a workshop uses."""


def test_a_start_is_told_from_the_logo_to_the_home_screen(by_hand: ModuleType) -> None:
    """48 pictures at 0.1 s and a rest of 0.5 s, three times: 3 x (4.8 + 0.5) = 15.9 s."""
    lamps = by_hand.part("lamps", 48, count=3, pause=6, pause_s=0.5)
    radio = by_hand.radio(parts=(lamps, by_hand.part("hold", 1, count=0)))
    assert customer_words.seen(radio, by_hand.radio_proof(radio)) == (
        "The logo stands still.",
        "Then the animation plays three times, for 16 seconds, and rests for 0.5 seconds after each time.",
        "The last picture stays until the radio is ready.",
        "Then the home screen appears.",
    )


def test_several_animations_are_told_apart_by_the_names_of_their_art(by_hand: ModuleType) -> None:
    parts = (by_hand.part("gate", 10), by_hand.part("steam", 5, count=0, art="steam.gif"))
    told = customer_words.seen(by_hand.radio(parts=parts))
    assert "Then the animation “gate” plays for 1 second." in told
    assert "Then the animation “steam” plays again and again until the radio is ready." in told


def test_a_picture_that_nothing_led_to_is_not_called_the_last(by_hand: ModuleType) -> None:
    radio = by_hand.radio(parts=(by_hand.part("lamps", 4), by_hand.part("hold", 1, count=0)))
    proof = by_hand.radio_proof(radio, order=((0, 1, 2, 3), (0,)))
    assert "Then a still picture stays until the radio is ready." in customer_words.seen(radio, proof)


def test_what_comes_late_is_told(by_hand: ModuleType) -> None:
    parts = (by_hand.part("lamps", 10, type="c"),)
    radio = by_hand.radio(parts=parts, timeline=by_hand.timeline(delay_s=1.04))
    told = customer_words.seen(radio)
    assert "Then the animation plays for 1 second. It plays to its end even when the radio is ready before." in told
    assert told[-1] == "Then the home screen appears, up to 1 second later than without the animation."


def test_assumed_starts_are_not_called_timed(by_hand: ModuleType) -> None:
    assumed, share = customer_words.sure(by_hand.timeline())
    assert assumed == "We have not timed this radio's start. We count on 16 to 21 seconds, usually 19 seconds."
    assert share == "The animation plays to its end in all of these starts."
    timed, share = customer_words.sure(by_hand.timeline(boot_samples_s=(16.0, 18.0, 21.0), share_finished=0.96))
    assert timed == "We have timed the start of such a radio three times: 16 to 21 seconds."
    assert share.startswith("The animation plays to its end in 96 % of these starts; in the others")


@pytest.mark.parametrize(
    ("general", "red", "passes", "told"),
    [
        (0, 0, True, "We looked for flashing light and found none."),
        (1, 0, True, "It flashes at most once within a second. The usual limit is three."),
        (2, 3, True, "It flashes at most three times within a second. The usual limit is three."),
        (5, 0, False, "It flashes up to five times within a second. The usual limit is three."),
    ],
)
def test_the_flash_check_is_told_in_a_sentence(general: int, red: int, passes: bool, told: str) -> None:
    """WCAG 2.2, success criterion 2.3.1: no more than three flashes in any one second period."""
    flash = FlashRecord(passes=passes, general_max_per_s=general, red_max_per_s=red, most_per_s=3, worst_at_s=0)
    assert customer_words.flashes(flash) == told


def test_each_change_of_the_art_is_told_once_and_what_is_not_seen_is_not_told() -> None:
    reasons = [note("dithered", "x"), mended("junk-skipped", "x"), note("dithered", "y"), mended("frames-padded", "x")]
    (told,) = customer_words.art_changes(reasons)
    assert told.startswith("This radio shows fewer shades")


def test_every_sentence_of_the_table_is_for_a_reason_that_exists_and_in_a_customers_words() -> None:
    source = "\n".join(path.read_text(encoding="utf-8") for path in Path(keyturn.__file__).parent.rglob("*.py"))
    for code, told in customer_words._ART.items():
        assert source.count(f'"{code}"') >= 2, f"no reason has the code {code}"
        assert not WORKSHOP.search(told), told
        assert len(re.findall(r"[.!?](?: |$)", told)) <= 2, told
