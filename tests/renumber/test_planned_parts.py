"""The parts of a plan: their rows, pauses and times."""

from __future__ import annotations

import pytest

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.renumber.parts import job_art
from keyturn.renumber.plan import plan
from keyturn.renumber.planned_parts import pacing, pause_count
from keyturn.shop.radio_profile import Radio
from keyturn.shop.rulebook import Rulebook
from renumber.planning import HEAD, Planner
from samples import Drop


def test_pauses_are_seconds_for_people_and_frames_in_the_file(planned: Planner, radio: Radio) -> None:
    """The standard counts PAUSE in frames (AOSP); people in the trade speak of seconds (common practice, no source)."""
    text = '[motion]\nfps = 12\n[[part]]\nart = "lamps/*"\npause = 0.5\n'
    assert planned(text).parts[0].row.pause == 6
    in_seconds = radio.firmware.model_copy(update={"pause_unit": "seconds"})
    made = planned(text.replace("0.5", "2.0"), firmware=in_seconds)
    assert made.parts[0].row.pause == 2


def test_doubling_rate_and_plays_takes_the_same_time(drop: Drop, rules: Rulebook, radio: Radio) -> None:
    """Arithmetic; common practice, no source."""

    def once_s(name: str, fps: int, plays: int) -> float:
        text = f'[motion]\nfps = {fps}\n[[part]]\nart = "lamps/*"\nplays = {plays}\n'
        root = drop(name, frames=20, manifest=HEAD + text)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        return plan(job, art, root, radio, rules.intake).once_only_s

    assert once_s("a", 10, 1) == pytest.approx(once_s("b", 20, 2))


@pytest.mark.parametrize(
    ("unit", "seconds", "fps", "count"),
    [("frames", 0.5, 12, 6), ("frames", 0.04, 12, 0), ("frames", 0.125, 12, 2), ("seconds", 1.4, 12, 1)],
)
def test_a_pause_is_the_nearest_whole_number(radio: Radio, unit: str, seconds: float, fps: int, count: int) -> None:
    """The standard counts PAUSE in frames (AOSP cmds/bootanimation). Half a frame counts as a whole one."""
    firmware = radio.firmware.model_copy(update={"pause_unit": unit})
    assert pause_count(radio.model_copy(update={"firmware": firmware}), seconds, fps) == count


def test_a_frame_costs_its_pixels_and_its_drawing(radio: Radio) -> None:
    """48 x 64 pixels at 100 ms a megapixel are 0.3072 ms, and 2 ms of drawing: arithmetic."""
    limits = radio.limits.model_copy(update={"decode_ms_per_mpx": 100.0, "draw_ms": 2.0})
    assert pacing(radio.model_copy(update={"limits": limits}), 10).cost_s == pytest.approx(0.0023072)


def test_rows_are_named_in_playing_order_and_count_what_plays(planned: Planner) -> None:
    text = '[[part]]\nart = "lamps/000*"\nplays = 3\n[[part]]\nart = "lamps/0010.png"\nplays = "until-booted"\n'
    parts = planned(text, frames=10).parts
    assert [(p.row.path, p.row.count, len(p.sources)) for p in parts] == [("part0", 3, 9), ("part1", 0, 1)]
    assert [p.played.frames for p in parts] == [9, 1]
