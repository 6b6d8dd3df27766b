"""The rate proposed against flashes. What a flash is, is WCAG 2.2's; the rates are worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from judge.plans import plan_of
from keyturn.judge.calmer_rate import calmer_rate
from keyturn.manifest.models import Manifest
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Refused, refuse

JOB = Manifest.model_validate({"customer": "C", "radio": "tall-768x1024", "motion": {"fps": 30}})
LOOP = plan_of(("p", 0, 0, 8), fps=30)
"""An endless loop: nothing has to be in time."""


def below(fps: int) -> object:
    return lambda plan: plan.fps <= fps


@pytest.mark.parametrize("limit", [8, 13, 29])
def test_the_highest_rate_at_which_it_passes_is_proposed(limit: int) -> None:
    assert (calmer_rate(LOOP, JOB, 8, below(limit)) or "").endswith(f"instead of its fps:\nfps = {limit}")


def test_nothing_is_proposed_below_the_rate_that_looks_like_motion() -> None:
    assert calmer_rate(LOOP, JOB, 8, below(7)) is None


def test_what_plays_once_must_still_be_in_time() -> None:
    """The radio's boot takes at least some seconds: 8 frames end in time at 10 fps, 3,000 do not."""
    assert calmer_rate(plan_of(("p", 1, 0, 8), ("p", 0, 0, 1), fps=30), JOB, 8, below(10))
    assert calmer_rate(plan_of(("p", 1, 0, 3000), ("p", 0, 0, 1), fps=30), JOB, 8, below(10)) is None


def test_pauses_in_frames_keep_their_seconds() -> None:
    plan = plan_of(("p", 1, 30, 2), ("p", 0, 0, 1), fps=30)
    plan = replace(plan, parts=(replace(plan.parts[0], pause_s=1.0), plan.parts[1]))
    seen: dict[int, int] = {}

    def passes(plan: Plan) -> bool:
        seen[plan.fps] = plan.parts[0].row.pause
        return plan.fps <= 10

    assert calmer_rate(plan, JOB, 8, passes)
    assert seen[10] == 10


def test_a_clip_has_its_own_pace() -> None:
    (part,) = LOOP.parts
    clip = replace(part, sources=tuple(replace(source, index=0) for source in part.sources))
    assert calmer_rate(replace(LOOP, parts=(clip,)), JOB, 8, below(10)) is None


def test_no_time_for_it_is_no_fault_of_the_drop() -> None:
    def passes(plan: Plan) -> bool:
        raise Refused([refuse("drop-takes-too-long", "", "")])

    assert calmer_rate(LOOP, JOB, 8, passes) is None
