"""Notes on jumps between logo, motion and hold, and on frames out of step."""

from __future__ import annotations

from dataclasses import replace

import pytest

from judge.plans import plan_of
from keyturn.judge import motion
from keyturn.judge.motion import handoff_reasons, hold_reasons, join_reasons
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Kind, Reason
from keyturn.shop.records import HandoffRecord

PLAN = plan_of(("p", 1, 0, 3), ("p", 0, 0, 1))


def test_a_logo_of_its_own_that_differs_is_told() -> None:
    (reason,) = handoff_reasons(HandoffRecord(share_changed=0.25, mean_difference=4.06), True)
    assert (reason.code, reason.kind) == ("handoff-seen", Kind.NOTE)
    assert "25% of the pixels" in reason.what and "4.1" in reason.what


@pytest.mark.parametrize(("share", "own"), [(0.0, True), (0.0, False), (0.25, False)])
def test_an_unseen_hand_off_is_not(share: float, own: bool) -> None:
    # frame 1 as the logo may differ by a lossy file alone, which was judged when the file was chosen
    assert handoff_reasons(HandoffRecord(share_changed=share, mean_difference=0.0), own) == []


@pytest.mark.parametrize(("numbers", "told"), [([(0, 1, 2), (2,)], False), ([(0, 1, 2), (0,)], True)])
def test_a_hold_that_is_not_the_last_picture_is_told(numbers: list[tuple[int, ...]], told: bool) -> None:
    assert [(r.code, r.kind) for r in hold_reasons(PLAN, numbers)] == [("hold-jumps", Kind.NOTE)] * told


def test_parts_that_play_once_may_begin_with_any_picture() -> None:
    plan = plan_of(("p", 1, 0, 2), ("p", 1, 0, 2), ("p", 0, 0, 1))
    assert hold_reasons(plan, [(0, 1), (5, 6), (6,)]) == []
    assert [r.code for r in hold_reasons(plan, [(0, 1), (5, 6), (1,)])] == ["hold-jumps"]


def test_a_loop_may_go_on_with_the_next_picture() -> None:
    """Only a still that holds must be the very last picture; a loop after a motion is judged as any other part."""
    assert hold_reasons(plan_of(("p", 1, 0, 2), ("p", 0, 0, 2)), [(0, 1), (2, 3)]) == []


MOVING, STILL = [0.0, 0.1, 0.1, 0.1], [0.0]


@pytest.mark.parametrize(
    ("before", "change", "after", "told"),
    [
        (MOVING, 0.1, MOVING, False),
        (MOVING, 0.5, MOVING, True),
        (MOVING, 0.5, STILL, True),
        (STILL, 0.5, MOVING, True),
        (STILL, 0.5, STILL, False),
        ([0.0, 1e-5, 1e-5], 1e-4, MOVING, False),
        (MOVING, 0.0, MOVING, False),
    ],
)
def test_a_part_that_begins_with_a_jump_is_told_by_its_number_and_how_far_it_is(
    before: list[float], change: float, after: list[float], told: bool
) -> None:
    """Beside motion of 0.1 a frame a step of 0.5 is 5 times as much; one still after another is no motion."""
    plan = plan_of(("p", 1, 0, len(before)), ("p", 1, 0, len(after)))
    found = join_reasons(plan, [before, after], [change])
    assert [(r.code, r.kind) for r in found] == [("parts-jump", Kind.NOTE)] * told
    if told:
        assert "part 2 (lamps/*)" in found[0].what and "of part 1 5.0 times" in found[0].what


def test_a_hold_that_jumps_is_told_once() -> None:
    plan = plan_of(("p", 1, 0, 4), ("p", 0, 0, 1))
    assert join_reasons(plan, [MOVING, STILL], [0.5]) == []


def stumble_reasons(plan: Plan, changes: list[list[float]]) -> list[Reason]:
    """What is told of pictures that are all different."""
    return motion.stumble_reasons(plan, changes, [range(len(moved)) for moved in changes])


EVEN = [0.0] + [0.1] * 30
"""Changes of an even motion; the first frame of a part changes from nothing."""


@pytest.mark.parametrize(("change", "code"), [(0.0, "motion-stands"), (0.2, "motion-jumps")])
def test_a_frame_out_of_step_is_numbered_from_1(change: float, code: str) -> None:
    plan = plan_of(("p", 1, 0, 31))
    (reason,) = stumble_reasons(plan, [[*EVEN[:9], change, *EVEN[10:]]])
    assert (reason.code, reason.kind) == (code, Kind.NOTE)
    assert "part 1 (lamps/*), frame 10:" in reason.what
    assert stumble_reasons(plan, [EVEN]) == []


def test_a_swing_that_turns_back_is_no_doubled_frame() -> None:
    """Pictures 0 to 15 and back again, the last one twice where the swing turns; else a doubled frame is one."""
    plan, changes = plan_of(("p", 1, 0, 32)), [0.0, *[0.1] * 15, 0.0, *[0.1] * 15]
    there_and_back = [*range(16), *range(15, -1, -1)]
    assert motion.stumble_reasons(plan, [changes], [there_and_back]) == []
    on = [*range(16), *range(15, 31)]
    assert [r.code for r in motion.stumble_reasons(plan, [changes], [on])] == ["motion-stands"]


def test_what_thinning_left_out_is_no_jump_and_a_missing_picture_still_is() -> None:
    """Of frames 0, 1, 2, 3, 5, 6 and so on the fifth makes two steps at once, as it must. One that makes four at
    that place lacks a picture besides."""
    plan = plan_of(("p", 1, 0, 31))
    gap = [0.0, *[0.1] * 15, 0.2, *[0.1] * 13]
    thin = replace(plan, parts=(plan.parts[0].only([n for n in range(31) if n != 16]),))
    assert [r.code for r in stumble_reasons(replace(plan, parts=(plan_of(("p", 1, 0, 30)).parts)), [gap])] == [
        "motion-jumps"
    ]
    assert stumble_reasons(thin, [gap]) == []
    (reason,) = stumble_reasons(thin, [[0.4 if change == 0.2 else change for change in gap]])
    assert "frame 17:" in reason.what


def test_many_of_them_are_shortened_to_eight() -> None:
    changes = [0.0, *([0.1] * 7 + [0.0]) * 12, *[0.1] * 7]
    (reason,) = stumble_reasons(plan_of(("p", 1, 0, len(changes))), [changes])
    assert "frame 9, 17, 25, 33, 41, 49, 57, 65 ...:" in reason.what
