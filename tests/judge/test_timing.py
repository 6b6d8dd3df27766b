"""When an animation ends, holds and delays, by arithmetic on a start of 16, 19 or 21 seconds."""

from __future__ import annotations

import pytest

from judge.plans import RULES, TALL, plan_of
from keyturn.judge.timing import delay_reasons, timeline_record
from keyturn.shop.reasons import Kind

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


def test_a_motion_longer_than_the_boot_has_no_hold_and_is_cut() -> None:
    record = timeline_record(plan_of(("p", 1, 0, 300), HOLD), 0.95)
    assert (record.hold_shortest_s, record.hold_usual_s, record.hold_longest_s) == (0, 0, 0)
    assert record.share_finished == 0.0
    shown = int(19 / INTERVAL_S) + 1
    assert record.on_screen_at_cut == f"frame {shown} of 300 of part 1, cut mid-motion"


def test_only_parts_that_must_finish_delay_the_home_screen() -> None:
    # type c plays to its end whatever happens (AOSP format description): longest in the shortest start, 16 s
    assert timeline_record(plan_of(("p", 1, 0, 300), HOLD), 0.95).delay_s == 0.0
    must_finish = timeline_record(plan_of(("c", 1, 0, 300), HOLD), 0.95)
    assert must_finish.delay_s == pytest.approx(300 * INTERVAL_S - 16, abs=0.01)


@pytest.mark.parametrize(("frames", "camera", "remedy"), [(300, True, True), (300, False, False), (150, True, False)])
def test_a_delay_is_told_with_its_reason_and_the_camera_where_it_is_long(
    frames: int, camera: bool, remedy: bool
) -> None:
    screen = TALL.screen.model_copy(update={"shows_camera": camera})
    plan = plan_of(("c", 1, 0, frames), HOLD, radio=TALL.model_copy(update={"screen": screen}))
    record = timeline_record(plan, 0.95)
    assert (record.delay_s > RULES.safety.holding.camera_seconds) == (frames == 300)
    (reason,) = delay_reasons(plan, record, ["the crossing must be seen"], RULES.safety)
    assert (reason.code, reason.kind) == ("home-screen-delayed", Kind.NOTE)
    assert f"{record.delay_s:.1f} s late (the crossing must be seen)" in reason.what
    assert ("reversing camera" in reason.mend) is remedy


def test_no_delay_no_note() -> None:
    plan = plan_of(("p", 1, 0, 100), HOLD)
    assert delay_reasons(plan, timeline_record(plan, 0.95), ["it must be seen"], RULES.safety) == []
