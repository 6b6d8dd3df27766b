"""The plan for one radio: rows, rate, thinning, and what stands against it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.radio import desc
from keyturn.renumber.parts import job_art
from keyturn.renumber.plan import Plan, plan
from keyturn.shop.radio_profile import Boot, Firmware, Radio
from keyturn.shop.reasons import Kind
from keyturn.shop.rulebook import Rulebook
from samples import Drop, picture

HEAD = 'customer = "C"\nradio = "tiny"\n'
Planner = Callable[..., Plan]


@pytest.fixture
def radio(rules: Rulebook) -> Radio:
    """No decode cost, boots in 10 to 14 s: figures that can be done in the head."""
    tiny = rules.radios["tiny"]
    limits = tiny.limits.model_copy(update={"decode_ms_per_mpx": 0.0, "draw_ms": 0.0})
    boot = Boot(source="test", shortest=10, usual=12, longest=14)
    return tiny.model_copy(update={"limits": limits, "boot": boot})


@pytest.fixture
def planned(drop: Drop, rules: Rulebook, radio: Radio) -> Planner:
    count = itertools.count()

    def make(text: str = "", frames: int = 48, **changes: object) -> Plan:
        root = drop(f"van-{next(count)}", frames=frames, manifest=HEAD + text)
        profile = radio.model_copy(update=changes)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        return plan(job, art, root, profile, rules.intake.enlarging)

    return make


def codes(found: Plan) -> dict[str, Kind]:
    return {r.code: r.kind for r in found.reasons}


def test_once_then_a_hold_comes_out_as_count_1_and_count_0(planned: Planner) -> None:
    """COUNT 1 and COUNT 0 under the panel's size and fps (FORMAT of the reference player, AOSP cmds/bootanimation;
    the once-then-hold shape is common practice, no source)."""
    made = planned("[motion]\nfps = 12\n")
    assert desc.write(made.desc) == b"48 64 12\np 1 0 part0\np 0 0 part1\n"


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
    assert made.pacing.interval_s == pytest.approx(1 / made.fps + 0.05)
    assert made.once_only_s == pytest.approx(48 * (1 / made.fps + 0.05))
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


def test_pauses_are_seconds_for_people_and_frames_in_the_file(planned: Planner, radio: Radio) -> None:
    """The standard counts PAUSE in frames (AOSP); people in the trade speak of seconds (common practice, no source)."""
    text = '[motion]\nfps = 12\n[[part]]\nart = "lamps/*"\npause = 0.5\n'
    assert planned(text).parts[0].row.pause == 6
    in_seconds = radio.firmware.model_copy(update={"pause_unit": "seconds"})
    made = planned(text.replace("0.5", "2.0"), firmware=in_seconds)
    assert made.parts[0].row.pause == 2


def test_a_pause_that_the_radio_cannot_hold_exactly_is_told(planned: Planner, radio: Radio) -> None:
    in_seconds = radio.firmware.model_copy(update={"pause_unit": "seconds"})
    made = planned('[motion]\nfps = 12\n[[part]]\nart = "lamps/*"\npause = 1.4\n', firmware=in_seconds)
    assert codes(made)["pause-rounded"] is Kind.MENDED


def test_counts_above_ten_are_not_trusted(planned: Planner) -> None:
    """Common practice, no source."""
    text = '[motion]\nfps = 30\n[[part]]\nart = "lamps/*"\nplays = {}\n'
    assert "plays-not-trusted" not in codes(planned(text.format(10)))
    assert codes(planned(text.format(11), frames=5))["plays-not-trusted"] is Kind.REFUSE


def test_a_part_that_holds_the_screen_needs_a_radio_that_has_such_parts(planned: Planner, radio: Radio) -> None:
    text = '[[part]]\nart = "lamps/*"\nhold_screen = "the ferry timetable must be read out"\n'
    assert codes(planned(text))["hold-not-possible"] is Kind.REFUSE
    knows_c = Firmware.model_validate(radio.firmware.model_dump() | {"part_types": ["p", "c"]})
    made = planned(text, firmware=knows_c)
    assert made.parts[0].row.type == "c"


def test_small_art_is_told_soft_and_far_too_small_refused(drop: Drop, rules: Rulebook, radio: Radio) -> None:
    def code_of(size: tuple[int, int], name: str) -> dict[str, Kind]:
        root = drop(name, manifest=HEAD, size=size)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        return codes(plan(job, art, root, radio, rules.intake.enlarging))

    assert "art-soft" not in code_of((24, 32), "half")
    assert code_of((16, 22), "third")["art-soft"] is Kind.NOTE
    assert code_of((5, 7), "tenth")["art-too-small"] is Kind.REFUSE


def test_a_clip_keeps_its_own_timing(tmp_path: Path, rules: Rulebook, radio: Radio) -> None:
    root = tmp_path / "clip"
    root.mkdir()
    frames = [picture((48, 64), n) for n in range(20)]
    frames[0].save(root / "steam.gif", save_all=True, append_images=frames[1:], duration=100, loop=0)
    (root / "job.toml").write_text(HEAD)
    job = reading.read(root)
    art = job_art(job, survey(root, rules.intake), rules.intake)
    made = plan(job, art, root, radio, rules.intake.enlarging)
    assert made.fps == 10
    assert made.once_only_s == pytest.approx(2.0)
    assert made.parts[-1].sources[0].index == 19
    doubled = plan(reading.parse((HEAD + "[motion]\nfps = 20\n").encode()), art, root, radio, rules.intake.enlarging)
    assert len(doubled.parts[0].sources) == 40
    assert doubled.once_only_s == pytest.approx(2.0)


def test_doubling_rate_and_plays_takes_the_same_time(drop: Drop, rules: Rulebook, radio: Radio) -> None:
    """Arithmetic; common practice, no source."""

    def once_s(name: str, fps: int, plays: int) -> float:
        text = f'[motion]\nfps = {fps}\n[[part]]\nart = "lamps/*"\nplays = {plays}\n'
        root = drop(name, frames=20, manifest=HEAD + text)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        return plan(job, art, root, radio, rules.intake.enlarging).once_only_s

    assert once_s("a", 10, 1) == pytest.approx(once_s("b", 20, 2))
