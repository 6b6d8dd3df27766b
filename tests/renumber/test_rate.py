"""The rate of a plan, and what becomes of parts that take too long."""

from __future__ import annotations

import pytest

from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind
from renumber.planning import Planner, codes


def test_auto_takes_the_least_rate_that_finishes_in_time(planned: Planner) -> None:
    """48 frames in a boot of 10 to 14 s, peak at 12: 4 fps take 12 s (too late in half the starts), 5 fps 9.6 s.
    Arithmetic, with no decode cost."""
    made = planned()
    assert made.fps == 5
    assert made.once_only_s == pytest.approx(48 / 5)
    assert made.share_finished == 1.0
    assert {4, 5, 6} <= {row.fps for row in made.alternatives}


def test_decode_time_slows_an_old_player_and_the_rate_answers(planned: Planner, radio: Radio) -> None:
    """First-generation player: frame interval = 1/fps plus decode and draw time (AOSP cmds/bootanimation)."""
    slow = radio.limits.model_copy(update={"draw_ms": 50.0})
    made = planned(limits=slow)
    assert made.pacing.interval_s == pytest.approx(1 / made.fps + 0.05, abs=1e-6)  # slept in whole microseconds
    assert made.once_only_s == pytest.approx(48 * (1 / made.fps + 0.05), abs=48e-6)
    assert made.fps == 6, "10.4 s, and 98 % of starts take longer (triangular distribution)"


def test_an_endless_loop_alone_has_nothing_to_finish(planned: Planner) -> None:
    made = planned('[[part]]\nart = "lamps/*"\nplays = "until-booted"\n')
    assert made.fps == 15
    assert made.share_finished == 1.0


def test_too_many_frames_for_the_boot_are_refused_with_the_number_to_leave_out(planned: Planner) -> None:
    made = planned(frames=400)
    (reason,) = [r for r in made.reasons if r.code == "cut-mid-motion"]
    assert reason.kind is Kind.REFUSE
    assert "30 fps" in reason.what
    left_out = int(reason.mend.split("leave out ")[1].split()[0])
    assert (400 - left_out) / 30 <= 11
    assert (400 - left_out + 2) / 30 > 10


def test_thinning_is_done_when_it_is_allowed_and_keeps_first_and_last(planned: Planner) -> None:
    made = planned("[motion]\nthin = true\n", frames=400)
    names = [s.name for s in made.parts[0].sources]
    assert (names[0], names[-1]) == ("lamps/0001.png", "lamps/0400.png")
    assert made.share_finished >= 0.95
    assert codes(made)["thinned"] is Kind.NOTE


def test_a_rate_chosen_by_hand_is_kept_and_the_cut_told(planned: Planner) -> None:
    made = planned("[motion]\nfps = 3\n")
    assert made.fps == 3
    assert codes(made)["cut-mid-motion"] is Kind.NOTE
    assert codes(planned("[motion]\nfps = 3\nfinish = 0.95\n"))["cut-mid-motion"] is Kind.REFUSE


def test_a_rate_beyond_the_radio_is_brought_to_its_limit(planned: Planner, radio: Radio) -> None:
    made = planned("[motion]\nfps = 60\n")
    assert made.fps == radio.limits.fps_max
    assert codes(made)["fps-limited"] is Kind.MENDED


@pytest.mark.parametrize(("frames", "told"), [(2, False), (3, True)])
def test_three_pictures_at_a_low_rate_are_called_jumpy(planned: Planner, frames: int, told: bool) -> None:
    assert ("jumpy" in codes(planned("[motion]\nfps = 2\n", frames=frames))) is told
    assert "jumpy" not in codes(planned("[motion]\nfps = 8\n", frames=frames))
