"""A plan with fewer frames at a lower rate lasts about as long."""

from __future__ import annotations

import pytest

from keyturn.renumber.plan import Plan
from keyturn.renumber.thinning import thinned
from renumber.planning import Planner


def halved(plan: Plan) -> Plan:
    return thinned(plan, tuple(tuple(range(0, len(p.sources), 2)) for p in plan.parts))


def test_half_the_frames_at_half_the_rate_last_as_long(planned: Planner) -> None:
    """Arithmetic: 48 frames at 12 fps and 24 frames at 6 fps both take 4 s; no decode cost."""
    plan = planned("[motion]\nfps = 12\n")
    made = halved(plan)
    assert made.fps == 6 and len(made.parts[0].sources) == 24
    assert made.once_only_s == pytest.approx(plan.once_only_s, abs=1e-4) == pytest.approx(4.0, abs=1e-4)
    assert [s.name for s in made.parts[0].sources] == [s.name for s in plan.parts[0].sources[::2]]
    assert 6 in {row.fps for row in made.alternatives}


def test_a_pause_keeps_its_seconds(planned: Planner) -> None:
    plan = planned('[motion]\nfps = 12\n[[part]]\nart = "lamps/*"\npause = 1.0\n')
    assert [plan.parts[0].row.pause, halved(plan).parts[0].row.pause] == [12, 6]


def test_the_rate_is_never_below_what_the_radio_takes(planned: Planner) -> None:
    plan = planned("[motion]\nfps = 2\n", frames=8)
    kept = ((0,), *((0,) for _ in plan.parts[1:]))
    assert thinned(plan, kept).fps == plan.radio.limits.fps_min


def test_the_fullest_part_decides_the_rate(planned: Planner) -> None:
    """Of 5 and 4 frames 4 and 2 stay: 10 fps * 4/5 = 8 fps, so that the first part lasts no longer than before."""
    text = '[motion]\nfps = 10\n[[part]]\nart = "lamps/000[1-5].png"\n[[part]]\nart = "lamps/000[6-9].png"\n'
    made = thinned(planned(text, frames=9), ((0, 1, 2, 4), (0, 3), (0,)))
    assert made.fps == 8
