"""The rate at which drawn frames would flash seldom enough, proposed where the animation flashes too often."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import replace

from keyturn.manifest.lines_to_paste import under_motion
from keyturn.manifest.models import Manifest
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import PlannedPart, pause_count
from keyturn.shop.reasons import Refused


def calmer_rate(plan: Plan, manifest: Manifest, slowest_fps: int, passes: Callable[[Plan], bool]) -> str | None:
    """Return the line of job.toml that ends the flashes; None where no rate does that looks like motion and is in time.

    What has a pace of its own flashes as often at any rate: a clip, and what is drawn to last some seconds. Nothing is
    proposed either where `passes` takes too long and says so by `Refused`.
    """
    if any(part.lasts_seconds for part in manifest.part) or not all(map(_is_drawn, plan.parts)):
        return None
    slowest = max(plan.radio.limits.fps_min, slowest_fps)
    in_time = [plan_at for fps in range(slowest, plan.fps) if _in_time(plan_at := _at(plan, fps), manifest)]
    try:
        flashing = bisect_left(in_time, True, key=lambda plan_at: not passes(plan_at))
    except Refused:
        return None
    return under_motion(manifest, f"fps = {in_time[flashing - 1].fps}") if flashing else None


def _is_drawn(part: PlannedPart) -> bool:
    """Whether each frame is a still, and none was left out to be in time."""
    return not part.places and all(source.index is None for source in part.sources)


def _in_time(plan: Plan, manifest: Manifest) -> bool:
    return plan.share_finished >= manifest.motion.finish


def _at(plan: Plan, fps: int) -> Plan:
    """Return the plan with the same frames at another rate."""
    rows = [replace(part.row, pause=pause_count(plan.radio, part.pause_s, fps)) for part in plan.parts]
    parts = tuple(replace(part, row=row) for part, row in zip(plan.parts, rows, strict=True))
    slower = replace(plan, fps=fps, parts=parts)
    once_s = slower.timeline(plan.boot.longest).once_only_end_s
    return replace(slower, once_only_s=once_s, share_finished=plan.boot.share_finished(once_s))
