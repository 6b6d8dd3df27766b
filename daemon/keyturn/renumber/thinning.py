"""A plan with fewer frames that lasts about as long: its rate falls with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from keyturn.radio.pace import alternatives
from keyturn.radio.timeline import PlayedPart, Timeline
from keyturn.renumber.plan import Plan, PlannedPart, pacing, pause_count
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import PaceRow


def thinned(plan: Plan, kept: tuple[tuple[int, ...], ...]) -> Plan:
    """Return the plan with the frames `kept` alone, by index in each part, at the least whole rate at which no part
    lasts longer than before."""
    before = [len(part.sources) for part in plan.parts]
    share = max(len(k) / n for k, n in zip(kept, before, strict=True) if n > 1)
    fps = max(plan.radio.limits.fps_min, math.ceil(plan.fps * share))
    parts = tuple(_part(plan.radio, part, k, fps) for part, k in zip(plan.parts, kept, strict=True))
    once_s = Timeline(tuple(p.played for p in parts), pacing(plan.radio, fps), plan.radio.boot.longest).once_only_end_s
    return replace(
        plan,
        parts=parts,
        fps=fps,
        once_only_s=once_s,
        share_finished=plan.boot.share_finished(once_s),
        alternatives=_alternatives(plan, parts, fps),
    )


def _part(radio: Radio, part: PlannedPart, kept: Sequence[int], fps: int) -> PlannedPart:
    row = replace(part.row, pause=pause_count(radio, part.pause_s, fps))
    return replace(part, row=row, sources=tuple(part.sources[i] for i in kept))


def _alternatives(plan: Plan, parts: tuple[PlannedPart, ...], fps: int) -> tuple[PaceRow, ...]:
    radio, limits = plan.radio, plan.radio.limits

    def played(at: int) -> tuple[PlayedPart, ...]:
        return tuple(_part(radio, part, range(len(part.sources)), at).played for part in parts)

    return alternatives(played, lambda at: pacing(radio, at), plan.boot, fps, limits.fps_min, limits.fps_max)
