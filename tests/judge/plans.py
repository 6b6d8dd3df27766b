"""Plans made by hand, whose frames are never drawn: what is judged of them are figures."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from keyturn.flatten.frame_source import Source
from keyturn.radio.boot import BootModel
from keyturn.radio.desc import Row
from keyturn.radio.timeline import Timeline
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import PlannedPart, pacing
from keyturn.shop import rulebook
from keyturn.shop.radio_profile import Radio

RULES = rulebook.load()
TALL = RULES.radios["tall-768x1024"]

Part = tuple[Literal["p", "c"], int, int, int]
"""Type, count, pause as in desc.txt, frames."""


def plan_of(*parts: Part, fps: int = 10, radio: Radio = TALL) -> Plan:
    planned = tuple(
        PlannedPart(
            Row(type=kind, count=count, pause=pause, path=f"part{number}"),
            tuple(Source(Path(f"{number}-{frame}.png"), f"{number}-{frame}.png") for frame in range(frames)),
            0.0,
            "lamps/*",
        )
        for number, (kind, count, pause, frames) in enumerate(parts)
    )
    boot = BootModel.of_radio(radio)
    once_s = Timeline(tuple(p.played for p in planned), pacing(radio, fps), boot.longest).once_only_end_s
    return Plan(radio, planned, None, fps, boot, once_s, boot.share_finished(once_s), (), ())


def with_limits(radio: Radio, **limits: object) -> Radio:
    return radio.model_copy(update={"limits": radio.limits.model_copy(update=limits)})
