"""Notes on jumps between logo, motion and hold, and on frames out of step."""

from __future__ import annotations

import pytest

from judge.plans import plan_of
from keyturn.judge.motion import handoff_reasons, hold_reasons, stumble_reasons
from keyturn.shop.reasons import Kind
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


EVEN = [0.0] + [0.1] * 30
"""Changes of an even motion; the first frame of a part changes from nothing."""


@pytest.mark.parametrize(("change", "code"), [(0.0, "motion-stands"), (0.2, "motion-jumps")])
def test_a_frame_out_of_step_is_numbered_from_1(change: float, code: str) -> None:
    plan = plan_of(("p", 1, 0, 31))
    (reason,) = stumble_reasons(plan, [[*EVEN[:9], change, *EVEN[10:]]])
    assert (reason.code, reason.kind) == (code, Kind.NOTE)
    assert "part0, frame 10:" in reason.what
    assert stumble_reasons(plan, [EVEN]) == []


def test_many_of_them_are_shortened_to_eight() -> None:
    changes = [0.0, *([0.1] * 7 + [0.0]) * 12, *[0.1] * 7]
    (reason,) = stumble_reasons(plan_of(("p", 1, 0, len(changes))), [changes])
    assert "frame 9, 17, 25, 33, 41, 49, 57, 65 ...:" in reason.what
