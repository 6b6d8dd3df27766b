"""A plan with fewer of its frames, which lasts about as long: the rate goes down with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, replace

from keyturn.radio.pace import FEWEST_KEPT, alternatives, thin
from keyturn.radio.timeline import Part, Timeline
from keyturn.renumber.plan import Plan, PlannedPart, pacing, pause_count
from keyturn.shop.radio_profile import Radio
from keyturn.shop.records import PaceRow

Places = tuple[tuple[int, ...], ...]


def places(lengths: Sequence[int], longest: int) -> Places:
    """Which frames of each part stay where the longest part keeps `longest`: the same share of all, evenly, with the
    first and the last."""
    most = max(lengths)
    return tuple(thin(n, max(min(FEWEST_KEPT, n), n * longest // most)) for n in lengths)


def thinned(plan: Plan, kept: Places) -> Plan:
    """The plan with those frames alone, at the least whole rate at which no part lasts longer than before."""
    before = [len(part.sources) for part in plan.parts]
    share = max(len(k) / n for k, n in zip(kept, before, strict=True) if n > 1)
    fps = max(plan.radio.limits.fps_min, math.ceil(plan.fps * share))
    parts = tuple(_part(plan.radio, part, k, fps) for part, k in zip(plan.parts, kept, strict=True))
    once_s = Timeline(tuple(p.unit for p in parts), pacing(plan.radio, fps), plan.radio.boot.longest).once_only_end_s
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

    def units(at: int) -> tuple[Part, ...]:
        return tuple(_part(radio, part, range(len(part.sources)), at).unit for part in parts)

    rows = alternatives(units, lambda at: pacing(radio, at), plan.boot, fps, limits.fps_min, limits.fps_max)
    return tuple(PaceRow(**asdict(row)) for row in rows)
