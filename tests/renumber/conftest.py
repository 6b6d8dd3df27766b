"""A radio whose figures can be done in the head, and plans for it."""

from __future__ import annotations

import itertools

import pytest

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.renumber.parts import job_art
from keyturn.renumber.plan import Plan, plan
from keyturn.shop.radio_profile import Boot, Radio
from keyturn.shop.rulebook import Rulebook
from renumber.planning import HEAD, Planner
from samples import Drop


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

    def make(text: str = "", frames: int = 48, slowest_fps: int | None = None, **changes: object) -> Plan:
        root = drop(f"van-{next(count)}", frames=frames, manifest=HEAD + text)
        profile = radio.model_copy(update=changes)
        job = reading.read(root)
        art = job_art(job, survey(root, rules.intake), rules.intake)
        rule = rules.intake.motion.model_copy(update={} if slowest_fps is None else {"slowest_fps": slowest_fps})
        return plan(job, art, root, profile, rules.intake.model_copy(update={"motion": rule}))

    return make
