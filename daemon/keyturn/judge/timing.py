"""When things happen in a start of the car: what is on the screen when the boot ends, and whether it delays it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, note
from keyturn.shop.records import TimelineRecord
from keyturn.shop.rulebook import Safety

BOOTS_TRIED = 41
"""Boot times between the shortest and the longest, at even quantiles, among which the longest delay is found."""


def timeline_record(plan: Plan, finish: float) -> TimelineRecord:
    """Return how the radio plays the plan; `finish` is the wanted share of starts, 0 to 1."""
    shortest, usual, longest = plan.boot.spread
    once_s = plan.once_only_s
    return TimelineRecord(
        interval_s=plan.pacing.interval_s,
        once_only_s=once_s,
        share_finished=plan.share_finished,
        finish_wanted=finish,
        boot_shortest_s=shortest,
        boot_usual_s=usual,
        boot_longest_s=longest,
        boot_samples_s=plan.radio.boot.samples,
        hold_shortest_s=max(0.0, shortest - once_s),
        hold_usual_s=max(0.0, usual - once_s),
        hold_longest_s=max(0.0, longest - once_s),
        delay_s=_worst_delay_s(plan),
        on_screen_at_cut=_on_screen_at_cut(plan, usual),
        alternatives=plan.alternatives,
    )


def _worst_delay_s(plan: Plan) -> float:
    """Return the longest time for which the home screen waits in any start; 0 without parts of type c.

    Other parts hold it back by a frame and a pause at most, which is not counted.
    """
    if all(p.row.type != "c" for p in plan.parts):
        return 0.0
    boots = (plan.boot.quantile(q) for q in np.linspace(0, 1, BOOTS_TRIED))
    return max(plan.timeline(float(boot_s)).delay_s for boot_s in boots)


def _on_screen_at_cut(plan: Plan, boot_s: float) -> str:
    """Say in words which frame is on the screen when the boot ends after `boot_s`, and whether it is cut off."""
    cut = plan.timeline(boot_s).cut
    part = plan.parts[cut.part]
    where = f"frame {cut.frame + 1} of {len(part.sources)} of part {cut.part + 1}"
    return f"{where}, cut mid-motion" if cut.mid_motion else f"{where}, at rest"


def delay_reasons(plan: Plan, record: TimelineRecord, why: Sequence[str], safety: Safety) -> list[Reason]:
    """Return the note where the home screen waits; `why` are the artist's reasons for it."""
    if record.delay_s <= 0:
        return []
    camera = plan.radio.screen.shows_camera
    late = camera and record.delay_s > safety.holding.camera_seconds
    what = f"the home screen comes up to {record.delay_s:.1f} s late ({'; '.join(why)})"
    mend = "the reversing camera may be late as well: test it, and go back to stock if it is" if late else ""
    return [note("home-screen-delayed", what, mend)]
