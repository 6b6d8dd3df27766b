"""The times of a player, by the arithmetic of Android Open Source Project, frameworks/base, cmds/bootanimation."""

from __future__ import annotations

import pytest

from keyturn.radio.pacing import Pacing, PlayedPart, pacing_of
from keyturn.shop import rulebook
from keyturn.shop.player_facts import of_generation

TALL = rulebook.load().radios["tall-768x1024"]


def test_a_first_play_decodes_and_later_ones_draw_only() -> None:
    """4.0 sleeps 1/fps, in whole microseconds, after the work; 768 x 1024 at 18 ms a million pixels, 4 ms to draw."""
    pace = pacing_of(TALL, of_generation("first"), 12)
    assert pace.interval_s == pytest.approx(0.083333 + 0.018155776, abs=1e-9)
    assert pace.later_interval_s == pytest.approx(0.083333 + 0.004, abs=1e-9)
    assert (pace.work_s, pace.later_work_s) == (pytest.approx(0.018155776), pytest.approx(0.004))
    assert pace.killed


def test_a_fixed_beat_hides_the_work_and_the_fourth_looks_in_pauses() -> None:
    second, fourth = (pacing_of(TALL, of_generation(g), 12) for g in ("second", "fourth"))  # type: ignore[arg-type]
    assert second.interval_s == second.later_interval_s == pytest.approx(1 / 12, abs=1e-9)
    assert (second.pause_check_ms, fourth.pause_check_ms) == (0, 50)
    assert not second.killed


def test_all_plays_of_a_part_are_its_first_and_its_later_ones_with_their_pauses() -> None:
    pace = Pacing(10, "additive", 0.02, later_cost_s=0.005)
    part = PlayedPart("p", 3, 5, 48)
    assert pace.plays_ns(part) == pytest.approx(1e9 * (48 * 0.12 + 2 * 48 * 0.105 + 3 * 0.5), abs=1)
    assert pace.plays_ns(PlayedPart("p", 0, 5, 48)) == 0


def test_a_later_play_cannot_cost_more_than_the_first() -> None:
    with pytest.raises(ValueError, match="later play"):
        Pacing(10, "additive", 0.02, later_cost_s=0.03)
