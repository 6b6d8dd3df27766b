"""What a stick shows, in which order."""

from __future__ import annotations

import pytest

from keyturn.calibrate.stick_plan import MOST_FRAMES, StickPlan


@pytest.mark.parametrize("fps", [1, 2, 10, 30, 60])
def test_each_frame_belongs_to_one_part_in_order(fps: int) -> None:
    plan = StickPlan.of(fps, 1000)
    numbers = [number for part in plan.parts for number in range(part.first, part.last + 1)]
    assert numbers == list(range(1, 1001))
    assert [part.drawn for part in plan.parts] == ["plain", "detailed", "plain"]
    assert all(plan.part_of(part.first) is plan.part_of(part.last) is part for part in plan.parts)
    assert plan.part_of(0) is plan.part_of(MOST_FRAMES) is None


def test_the_detailed_part_plays_twice_with_a_pause_after_each_play() -> None:
    """Rows: Android Open Source Project, cmds/bootanimation, TYPE COUNT PAUSE PATH; count 0 is until booted."""
    rows = [(row.type, row.count, row.pause, row.path) for row in StickPlan.of(10, 300).rows]
    assert rows == [("p", 1, 0, "part0"), ("p", 2, 1, "part1"), ("p", 1, 0, "part2"), ("p", 0, 0, "part3")]


def test_a_stick_for_the_eye_and_a_short_one_count_plain_frames_alone() -> None:
    for plan in (StickPlan.of(10, 300, by_eye=True), StickPlan.of(10, 30)):
        assert [(part.first, part.last, part.drawn, part.plays) for part in plan.parts] == [
            (1, plan.frames, "plain", 1)
        ]
        assert len(plan.rows) == 2
