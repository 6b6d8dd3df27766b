"""A plan with fewer frames at a lower rate, so that it lasts about as long."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from keyturn.radio.timeline import PlayedPart, Timeline
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import PlannedPart, pacing, pause_count
from keyturn.renumber.rate import neighbouring_rates
from keyturn.shop.radio_profile import Radio


def thinned(plan: Plan, kept: tuple[tuple[int, ...], ...]) -> Plan:
    """Return the plan with the frames `kept` alone, given by index in each part.

    Its rate is the least whole number at which no part lasts longer than before.
    """
    before = [len(part.sources) for part in plan.parts]
    share = max(len(k) / n for k, n in zip(kept, before, strict=True) if n > 1)
    fps = max(plan.radio.limits.fps_min, math.ceil(plan.fps * share))
    parts = tuple(_part(plan.radio, part, k, fps) for part, k in zip(plan.parts, kept, strict=True))
    once_s = Timeline(tuple(p.played for p in parts), pacing(plan.radio, fps), plan.radio.boot.longest).once_only_end_s

    def played_at(rate: int) -> tuple[PlayedPart, ...]:
        return tuple(_part(plan.radio, part, range(len(part.sources)), rate).played for part in parts)

    return replace(
        plan,
        parts=parts,
        fps=fps,
        once_only_s=once_s,
        share_finished=plan.boot.share_finished(once_s),
        alternatives=neighbouring_rates(plan.radio, plan.boot, played_at, fps),
    )


def _part(radio: Radio, part: PlannedPart, kept: Sequence[int], fps: int) -> PlannedPart:
    row = replace(part.row, pause=pause_count(radio, part.pause_s, fps))
    return replace(part.only(kept), row=row)
