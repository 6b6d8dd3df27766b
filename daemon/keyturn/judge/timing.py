"""When things happen in a start of the car: what is on the screen when the boot ends, and whether it delays it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from keyturn.manifest.models import FILE_NAME
from keyturn.radio.home_screen import UNNOTICED_S, worst_delay_s
from keyturn.radio.share_interval import measured_share
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, note, refuse
from keyturn.shop.records import FinishedRecord, TimelineRecord
from keyturn.shop.rulebook import Safety


def timeline_record(plan: Plan, finish: float) -> TimelineRecord:
    """Return how the radio plays the plan; `finish` is the wanted share of starts, 0 to 1."""
    shortest, usual, longest = plan.boot.spread
    once_s, pacing = plan.once_only_s, plan.pacing
    measured = measured_share(plan.boot.samples, once_s)
    return TimelineRecord(
        interval_s=pacing.interval_s,
        later_interval_s=pacing.later_interval_s,
        work_s=pacing.work_s,
        later_work_s=pacing.later_work_s,
        pause_check_s=pacing.pause_check_ms / 1000,
        killed=pacing.killed,
        black_first=plan.radio.player.black_first,
        generations=plan.radio.player.generations,
        once_only_s=once_s,
        share_finished=plan.share_finished,
        finish_wanted=finish,
        boot_shortest_s=shortest,
        boot_usual_s=usual,
        boot_longest_s=longest,
        boot_samples_s=plan.radio.boot.starts,
        measured=FinishedRecord.model_validate(asdict(measured)) if measured else None,
        hold_shortest_s=max(0.0, shortest - once_s),
        hold_usual_s=max(0.0, usual - once_s),
        hold_longest_s=max(0.0, longest - once_s),
        delay_s=_worst_delay_s(plan),
        on_screen_at_cut=_on_screen_at_cut(plan, usual),
        alternatives=plan.alternatives,
    )


def _worst_delay_s(plan: Plan) -> float:
    """Return the longest time for which the home screen waits in any start, on the player that keeps it longest among
    those that the radio may have."""
    shortest, _, longest = plan.boot.spread
    played = [part.played for part in plan.parts]
    return max(worst_delay_s(played, pacing, shortest, longest) for pacing in plan.possible_pacings)


def _on_screen_at_cut(plan: Plan, boot_s: float) -> str:
    """Say in words which frame is on the screen when the boot ends after `boot_s`, and whether it is cut off."""
    cut = plan.timeline(boot_s).cut
    part = plan.parts[cut.part]
    where = f"frame {cut.frame + 1} of {len(part.sources)} of part {cut.part + 1}"
    return f"{where}, cut mid-motion" if cut.mid_motion else f"{where}, at rest"


def delay_reasons(plan: Plan, record: TimelineRecord, why: Sequence[str], safety: Safety) -> list[Reason]:
    """Return the finding where the home screen waits; `why` are the artist's reasons for it.

    Beyond the camera's limit it is a refusal, unless the artist has given a reason.
    """
    if record.delay_s <= UNNOTICED_S:
        return []
    late = plan.radio.screen.shows_camera and record.delay_s > safety.holding.camera_seconds
    what = f"the home screen comes up to {record.delay_s:.1f} s late"
    if late and not why:
        what += f", and the reversing camera with it; at most {safety.holding.camera_seconds:g} s are allowed"
        return [refuse("home-screen-held", what, _shorter(plan), file=FILE_NAME)]
    what += f" ({'; '.join(why)})" if why else f": {_cause(plan)}"
    mend = "the reversing camera may be late as well: test it, and go back to stock if it is" if late else ""
    return [note("home-screen-delayed", what, mend)]


def _longest_pause(plan: Plan) -> int | None:
    """Return the number, from 1, of the part with the longest pause; None where no part has one."""
    place = max(range(len(plan.parts)), key=lambda i: plan.parts[i].row.pause)
    return place + 1 if plan.parts[place].row.pause else None


def _cause(plan: Plan) -> str:
    if any(part.row.type == "c" for part in plan.parts):
        return "a part plays to its end even when the radio has booted"
    if number := _longest_pause(plan):
        return f"a pause is not cut short when the radio has booted (part {number})"
    return f"a frame stands for {1 / plan.fps:.2g} s"


def _shorter(plan: Plan) -> str:
    number = _longest_pause(plan)
    if number is None:
        return "set a higher fps: the radio looks after each frame whether it has booted"
    where = f"shorten the pause of part {number}"
    if plan.parts[number - 1].row.count == 0:
        where += ", or leave it out"
    return f"{where}: this radio does not cut a pause short when it has booted"
