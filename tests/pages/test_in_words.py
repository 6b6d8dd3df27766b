"""What is seen on the radio, in words."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest

from keyturn.pages.card import card
from keyturn.pages.in_words import at_cut, on_screen, plays_s
from keyturn.pages.languages import language_of
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
    """After an endless part only parts of type c play (AOSP, cmds/bootanimation, format description)."""
    parts = (by_hand.part("hold", 1, count=0), by_hand.part("never", 5), by_hand.part("after", 5, type="c"))
    text = text_of(card(by_hand.job(), by_hand.radio(parts=parts), PROFILES["tall-768x1024"], ()))
    assert "never" not in text
    assert "Part 3 from after/*.png: 5 frames, once" in text


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ({"frames": 48}, "48 frames, once, 4.8 s in all"),
        (
            {"frames": 1, "count": 3, "pause_s": 1.0},
            "1 frame, 3 times, 3.3 s in all, with a rest of 1.0 s after each play",
        ),
        ({"frames": 5, "pause_s": 0.5}, "5 frames, once, 1.0 s in all, with a rest of 0.5 s"),
        ({"frames": 7, "type": "c"}, "7 frames, once, 0.7 s in all; plays to its end even when the radio has booted"),
        (
            {"frames": 1, "count": 0},
            "one still picture until the radio has booted, usually 14.2 s (11.2 to 16.2 s)",
        ),
        (
            {"frames": 4, "count": 0, "pause_s": 0.3},
            "4 frames again and again until the radio has booted, usually 14.2 s (11.2 to 16.2 s), "
            "with a rest of 0.3 s after each play",
        ),
    ],
)
def test_what_a_part_does_is_said_with_its_seconds(by_hand: ModuleType, part: dict[str, Any], words: str) -> None:
    """Frames of 0.1 s, and a pause after each play. Arithmetic."""
    logo, shown = on_screen(by_hand.radio(parts=(by_hand.part("lamps", **part),)))
    assert (logo.title, logo.art) == ("Boot logo", "")
    assert (shown.title, shown.art, shown.words) == ("Part 1", "lamps/*.png", words)


def test_after_an_endless_part_only_parts_of_type_c_are_named(by_hand: ModuleType) -> None:
    """AOSP, cmds/bootanimation, format description: a part of type c plays to its end whatever the boot does."""
    parts = (by_hand.part("hold", 1, count=0), by_hand.part("never", 5), by_hand.part("after", 5, type="c"))
    assert [shown.title for shown in on_screen(by_hand.radio(parts=parts))] == ["Boot logo", "Part 1", "Part 3"]


def test_a_play_lasts_its_frames_and_its_pause(by_hand: ModuleType) -> None:
    assert plays_s(by_hand.part("lamps", 48, pause_s=0.5), by_hand.timeline()) == pytest.approx(5.3)
    quicker = by_hand.timeline(later_interval_s=0.09)
    assert plays_s(by_hand.part("lamps", 48, count=3, pause_s=0.5), quicker) == pytest.approx(4.8 + 2 * 4.32 + 1.5)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("frame 3 of 48 of part 2, at rest", "Bild 3 von 48 in Teil 2, stehend"),
        ("frame 9 of 9 of part 1, cut mid-motion", "Bild 9 von 9 in Teil 1, mitten in der Bewegung abgeschnitten"),
        ("frame 1 of 1 of hold, at rest", "frame 1 of 1 of hold, at rest"),
    ],
)
def test_what_stands_at_the_cut_is_told_in_the_pages_language(by_hand: ModuleType, told: str, words: str) -> None:
    timeline = by_hand.timeline(on_screen_at_cut=told)
    assert at_cut(timeline) == told
    assert at_cut(timeline, language_of("de")) == words
