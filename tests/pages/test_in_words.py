"""What somebody in front of the radio sees, in words."""

from __future__ import annotations

from types import ModuleType

from keyturn.pages.card import card
from keyturn.shop import rulebook
from page_text import text_of

PROFILES = rulebook.load().radios


def test_a_part_that_delays_the_home_screen_says_so(by_hand: ModuleType) -> None:
    parts = (by_hand.part("gate", 12, type="c"), by_hand.part("hold", 1, count=0))
    delayed = by_hand.radio(parts=parts, timeline=by_hand.timeline(delay_s=1.25))
    text = text_of(by_hand.sheet_of(by_hand.job(delayed)))
    assert "plays to its end even when the radio has booted" in text
    assert "Home screen: up to 1.2 s later than without this animation" in text


def test_what_is_never_reached_is_not_promised(by_hand: ModuleType) -> None:
    """After an endless row only one of type c plays (AOSP, cmds/bootanimation, format description)."""
    parts = (by_hand.part("hold", 1, count=0), by_hand.part("never", 5), by_hand.part("after", 5, type="c"))
    text = text_of(card(by_hand.job(), by_hand.radio(parts=parts), PROFILES["tall-768x1024"], ()))
    assert "never" not in text
    assert "after from after/*.png: 5 frames, once" in text
