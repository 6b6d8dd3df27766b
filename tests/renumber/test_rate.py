"""The rate of a plan, and what becomes of parts that take too long."""

from __future__ import annotations

import pytest

from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind
from renumber.planning import Planner, codes


def test_auto_takes_the_least_rate_that_finishes_in_time(planned: Planner) -> None:
    """90 frames in a boot of 10 to 14 s, peak at 12: 8 fps take 11.25 s (too late in a fifth of starts), 9 fps 10 s.
    Arithmetic, with no decode cost."""
    made = planned(frames=90)
    assert made.fps == 9
    assert made.once_only_s == pytest.approx(90 / 9, abs=1e-3)
    assert made.share_finished == pytest.approx(1.0, abs=1e-3)
    assert {8, 9, 10} <= {row.fps for row in made.alternatives}
    assert "auto-not-slower" not in codes(made)


def test_auto_plays_a_motion_no_slower_than_it_looks_like_motion_and_says_what_fills_the_rest(planned: Planner) -> None:
    """48 frames would fill the boot of 10 to 14 s at 5 fps. At 8 they end at 6 s, and 6 s of the usual 12 are left."""
    made = planned()
    assert (made.fps, made.once_only_s) == (8, pytest.approx(6.0, abs=1e-3))
    (told,) = [r for r in made.reasons if r.code == "auto-not-slower"]
    assert told.kind is Kind.NOTE and told.field == "motion.fps"
    assert "5 fps" in told.what and "8 fps" in told.what
    assert "end at 6.0 s" in told.what and "the last picture holds" in told.what and "usually 6.0 s" in told.what
    assert "jumpy" not in codes(made)


def test_a_short_motion_is_told_how_often_it_could_play(planned: Planner) -> None:
    """16 frames take 2 s at 8 fps: five plays take 10 s, which every start lasts, and six take 12 s."""
    (told,) = [r for r in planned(frames=16).reasons if r.code == "auto-not-slower"]
    assert "plays = 5" in told.mend
    assert planned('[[part]]\nart = "lamps/*"\nplays = 5\n', frames=16).share_finished == pytest.approx(1.0, abs=1e-3)


def test_a_loop_that_follows_stills_is_motion_too(planned: Planner) -> None:
    text = '[[part]]\nart = "lamps/0001.png"\n[[part]]\nart = "lamps/*"\nplays = "until-booted"\n'
    made = planned(text, frames=12)
    assert made.fps == 8
    (told,) = [r for r in made.reasons if r.code == "auto-not-slower"]
    assert "part 2 plays for the rest" in told.what


def test_two_pictures_are_no_motion_and_take_their_time(planned: Planner) -> None:
    made = planned(frames=2)
    assert made.fps == 1 and not {"auto-not-slower", "jumpy"} & codes(made).keys()


def test_the_slowest_rate_of_auto_is_a_rule_of_the_shop(planned: Planner) -> None:
    assert planned(slowest_fps=12).fps == 12
    assert planned(slowest_fps=1).fps == 5


def test_decode_time_slows_an_old_player_and_the_rate_answers(planned: Planner, radio: Radio) -> None:
    """First-generation player: frame interval = 1/fps plus decode and draw time (AOSP cmds/bootanimation)."""
    slow = radio.limits.model_copy(update={"draw_ms": 50.0})
    made = planned(limits=slow, slowest_fps=1)
    assert made.pacing.interval_s == pytest.approx(1 / made.fps + 0.05, abs=1e-6)  # slept in whole microseconds
    assert made.once_only_s == pytest.approx(48 * (1 / made.fps + 0.05), abs=48e-6)
    assert made.fps == 6, "10.4 s, and 98 % of starts take longer (triangular distribution)"
    assert planned(limits=slow).fps == 8, "for a motion to look like one"


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
    made = planned("[motion]\nfps = 4\n")
    assert made.fps == 4
    assert codes(made)["cut-mid-motion"] is Kind.NOTE
    assert codes(planned("[motion]\nfps = 4\nfinish = 0.95\n"))["cut-mid-motion"] is Kind.REFUSE


def test_a_rate_chosen_by_hand_at_which_no_start_finishes_is_refused_with_one_that_does(planned: Planner) -> None:
    """48 frames at 3 fps take 16 s, and the longest start 14 s; 5 fps take 9.6 s, as in every start."""
    (told,) = [r for r in planned("[motion]\nfps = 3\n").reasons if r.code == "cut-mid-motion"]
    assert told.kind is Kind.REFUSE and told.field == "motion.fps"
    assert "only 0% of starts" in told.what and 'set fps = 5 or more, or "auto"' in told.mend


def test_a_rate_beyond_the_radio_is_brought_to_its_limit(planned: Planner, radio: Radio) -> None:
    made = planned("[motion]\nfps = 60\n")
    assert made.fps == radio.limits.fps_max
    assert codes(made)["fps-limited"] is Kind.MENDED


@pytest.mark.parametrize(
    ("code", "text", "frames"),
    [
        ("cut-mid-motion", "[motion]\nfps = 3\n", 48),
        ("cut-mid-motion", "[motion]\nfps = 4\n", 48),
        ("cut-mid-motion", "", 400),
        ("jumpy", "[motion]\nfps = 2\n", 12),
        ("plays-not-trusted", '[[part]]\nart = "lamps/*"\nplays = 11\n', 5),
    ],
)
def test_the_lines_to_paste_end_their_reason(planned: Planner, code: str, text: str, frames: int) -> None:
    (told,) = [reason for reason in planned(text, frames=frames).reasons if reason.code == code]
    where, *lines = told.mend.split("\n")
    key = lines[-1].split(" = ")[0]
    kept = "".join(line for line in text.splitlines(keepends=True) if not line.startswith(f"{key} = "))
    assert lines[0] == "[motion]" or "under [motion]" in where or "[[part]] number 1" in where
    found = codes(planned(kept + "\n".join(lines) + "\n", frames=frames)).keys()
    assert code not in found
    assert key != "fps" or "jumpy" not in found


@pytest.mark.parametrize(("frames", "told"), [(2, False), (3, True)])
def test_three_pictures_at_a_low_rate_are_called_jumpy(planned: Planner, frames: int, told: bool) -> None:
    assert ("jumpy" in codes(planned("[motion]\nfps = 2\n", frames=frames))) is told
    assert "jumpy" not in codes(planned("[motion]\nfps = 8\n", frames=frames))
