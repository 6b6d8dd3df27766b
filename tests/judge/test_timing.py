"""When an animation ends, holds and delays, by arithmetic on a start of 16, 19 or 21 seconds."""

from __future__ import annotations

import pytest

from judge.plans import RULES, TALL, plan_of
from keyturn.judge.timing import delay_reasons, timeline_record
from keyturn.shop.reasons import Kind
from keyturn.shop.records import FinishedRecord
from samples import with_player

INTERVAL_S = 0.1 + (18 * 768 * 1024 / 1e6 + 4) / 1000
"""Of a frame at 10 fps on this additive player: 1/fps, 18 ms to decode a million pixels, 4 ms to draw."""

HOLD = ("p", 0, 0, 1)


def test_the_hold_lasts_from_the_end_of_the_motion_to_the_end_of_the_boot() -> None:
    record = timeline_record(plan_of(("p", 1, 0, 100), HOLD), 0.95)
    assert record.interval_s == pytest.approx(INTERVAL_S)
    assert record.once_only_s == pytest.approx(100 * INTERVAL_S)
    assert (record.boot_shortest_s, record.boot_usual_s, record.boot_longest_s) == (16, 19, 21)
    holds = (record.hold_shortest_s, record.hold_usual_s, record.hold_longest_s)
    assert holds == pytest.approx(tuple(boot - 100 * INTERVAL_S for boot in (16, 19, 21)))
    assert (record.share_finished, record.finish_wanted, record.delay_s) == (1.0, 0.95, 0.0)
    assert record.on_screen_at_cut == "frame 1 of 1 of part 2, at rest"


def test_measured_starts_are_counted_and_their_share_is_an_interval() -> None:
    """Percentile bootstrap of 19 in 20: the binomial of 20 and 0.95 has its 2.5 % and 97.5 % points at 17 and 20."""
    boot = TALL.boot.model_copy(update={"samples": (11.0, *[20.0] * 19)})
    radio = TALL.model_copy(update={"boot": boot})
    record = timeline_record(plan_of(("p", 1, 0, 100), HOLD, radio=radio), 0.95)
    assert record.measured == FinishedRecord(finished=19, starts=20, low=0.85, high=1.0)
    assert timeline_record(plan_of(("p", 1, 0, 100), HOLD), 0.95).measured is None
    one = TALL.model_copy(update={"boot": TALL.boot.model_copy(update={"samples": (11.0,)})})
    assert timeline_record(plan_of(("p", 1, 0, 100), HOLD, radio=one), 0.95).measured is None


def test_a_motion_longer_than_the_boot_has_no_hold_and_is_cut() -> None:
    record = timeline_record(plan_of(("p", 1, 0, 300), HOLD), 0.95)
    assert (record.hold_shortest_s, record.hold_usual_s, record.hold_longest_s) == (0, 0, 0)
    assert record.share_finished == 0.0
    shown = int(19 / INTERVAL_S) + 1
    assert record.on_screen_at_cut == f"frame {shown} of 300 of part 1, cut mid-motion"


def test_only_the_first_play_decodes() -> None:
    """AOSP 4.0 to 14: later plays bind the textures of the first. 48 frames three times at 10 fps."""
    record = timeline_record(plan_of(("p", 3, 0, 48), HOLD), 0.95)
    assert record.later_interval_s == pytest.approx(0.104)
    assert record.once_only_s == pytest.approx(48 * INTERVAL_S + 2 * 48 * 0.104)


def test_a_player_that_is_killed_delays_nothing() -> None:
    """AOSP 4.0 is ended on the spot when the boot is over, whatever it shows."""
    assert timeline_record(plan_of(("p", 1, 0, 300), HOLD), 0.95).delay_s == 0.0
    assert timeline_record(plan_of(("p", 0, 30, 10)), 0.95).delay_s == 0.0


SECOND = with_player(TALL, generation="second")


def test_parts_that_must_finish_delay_the_home_screen_longest_in_the_shortest_start() -> None:
    # type c plays to its end whatever happens (AOSP format description); here 1/10 s a frame, in a start of 16 s
    must_finish = timeline_record(plan_of(("c", 1, 0, 300), HOLD, radio=SECOND), 0.95)
    assert must_finish.delay_s == pytest.approx(30 - 16, abs=0.02)


@pytest.mark.parametrize(("generation", "delay_s"), [("second", 6.1), ("third", 6.1), ("fourth", 0.15)])
def test_a_pause_on_an_endless_part_holds_the_home_screen(generation: str, delay_s: float) -> None:
    """AOSP until 11: the pause is slept whole, the next frame is shown for its beat, and the pause after that play is
    slept whole too: 3 + 0.1 + 3 s. 14 looks every 50 ms."""
    plan = plan_of(("p", 0, 30, 10), radio=with_player(TALL, generation=generation))
    record = timeline_record(plan, 0.95)
    assert record.delay_s == pytest.approx(delay_s, abs=0.05)
    told = delay_reasons(plan, record, [], RULES.safety)
    if delay_s > RULES.safety.holding.camera_seconds:
        (reason,) = told
        assert (reason.code, reason.kind) == ("home-screen-held", Kind.REFUSE)
        assert "6.1 s late" in reason.what and "shorten the pause of part 1" in reason.mend
    else:
        assert told == []


def test_a_short_pause_is_told_and_without_a_camera_a_long_one_is_too() -> None:
    plan = plan_of(("p", 0, 5, 10), radio=SECOND)
    (reason,) = delay_reasons(plan, timeline_record(plan, 0.95), [], RULES.safety)
    assert (reason.code, reason.kind) == ("home-screen-delayed", Kind.NOTE) and "1.1 s late" in reason.what
    no_camera = SECOND.model_copy(update={"screen": TALL.screen.model_copy(update={"shows_camera": False})})
    plan = plan_of(("p", 0, 30, 10), radio=no_camera)
    (reason,) = delay_reasons(plan, timeline_record(plan, 0.95), [], RULES.safety)
    assert reason.kind is Kind.NOTE


def test_a_guessed_generation_is_judged_by_the_worst() -> None:
    guess = with_player(TALL, generation="fourth", may_be=["third"])
    record = timeline_record(plan_of(("p", 0, 30, 10), radio=guess), 0.95)
    assert record.delay_s == pytest.approx(6.1, abs=0.05)
    assert record.generations == ("third", "fourth")


@pytest.mark.parametrize(("frames", "camera", "remedy"), [(300, True, True), (300, False, False), (170, True, False)])
def test_a_delay_is_told_with_its_reason_and_the_camera_where_it_is_long(
    frames: int, camera: bool, remedy: bool
) -> None:
    screen = TALL.screen.model_copy(update={"shows_camera": camera})
    plan = plan_of(("c", 1, 0, frames), HOLD, radio=SECOND.model_copy(update={"screen": screen}))
    record = timeline_record(plan, 0.95)
    assert (record.delay_s > RULES.safety.holding.camera_seconds) == (frames == 300)
    (reason,) = delay_reasons(plan, record, ["the crossing must be seen"], RULES.safety)
    assert (reason.code, reason.kind) == ("home-screen-delayed", Kind.NOTE)
    assert f"{record.delay_s:.1f} s late (the crossing must be seen)" in reason.what
    assert ("reversing camera" in reason.mend) is remedy


def test_no_delay_no_note() -> None:
    plan = plan_of(("p", 1, 0, 100), HOLD)
    assert delay_reasons(plan, timeline_record(plan, 0.95), ["it must be seen"], RULES.safety) == []
