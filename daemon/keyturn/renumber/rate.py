"""The rate of a plan: the one the manifest names, or the least at which its parts finish in time and look like motion.

Where no rate is quick enough, frames are left out or the artist is told how many.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median

from keyturn.manifest.lines_to_paste import under_motion
from keyturn.manifest.models import FILE_NAME
from keyturn.radio import memory
from keyturn.radio.boot import BootModel
from keyturn.radio.pace import alternatives, choose_fps, kept_frames, thin
from keyturn.radio.timeline import PlayedPart
from keyturn.renumber.planned_parts import PlanInputs, PlannedPart, pacing
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, mended, note, refuse
from keyturn.shop.records import PaceRow

FEWEST_MOVING = 3
"""A part of fewer pictures is no motion."""

MOST_PLAYS = 60
"""More plays are not proposed to fill the boot. Keyturn's own choice."""

NEVER = 0.005
"""Where a smaller share of starts lasts long enough, shown as 0 %, the end is never seen: no choice of the artist's."""

LOOP_FPS = 15
"""Where nothing has to finish in time, "auto" takes this rate, or a clip's own. Common practice, no source."""


def chosen_fps(inputs: PlanInputs) -> tuple[int, list[Reason]]:
    """Return the plan's whole frames a second, and a reason where the manifest's had to be changed."""
    limits = inputs.radio.limits
    wanted = inputs.manifest.motion.fps
    if not isinstance(wanted, int):
        return _automatic_fps(inputs)
    fps = min(max(wanted, limits.fps_min), limits.fps_max)
    if fps == wanted:
        return fps, []
    what = f"{wanted} fps is outside what {inputs.radio.name} is trusted with; {fps} fps it is"
    return fps, [mended("fps-limited", what, file=FILE_NAME, field="motion.fps")]


def _automatic_fps(inputs: PlanInputs) -> tuple[int, list[Reason]]:
    """Return the least rate that finishes in time and looks like motion, and a note where the boot allows a slower."""
    own = _own_fps(inputs)
    slowest = _least_fps(inputs, own)
    if slowest >= inputs.slowest_fps or not _moves(inputs, slowest):
        return slowest, []
    fps = _least_fps(inputs, max(own, inputs.slowest_fps))
    return fps, [_not_slower(inputs, fps, slowest)] if fps > slowest else []


def _least_fps(inputs: PlanInputs, at_least: int) -> int:
    limits = inputs.radio.limits
    return choose_fps(
        inputs.played_at,
        inputs.pacing_at,
        inputs.boot,
        inputs.finish,
        min(max(limits.fps_min, at_least), limits.fps_max),
        limits.fps_max,
        default_fps=at_least or LOOP_FPS,
    )


def _moves(inputs: PlanInputs, fps: int) -> bool:
    """Whether the rate sets the pace of a motion. A clip, and what is drawn to last some seconds, have their own."""
    return any(
        len(part.sources) >= FEWEST_MOVING and not art.clip and not art.entry.lasts_seconds
        for art, part in zip(inputs.art.parts, inputs.parts_at(fps), strict=True)
    )


def _not_slower(inputs: PlanInputs, fps: int, slowest: int) -> Reason:
    """Return the note that says what fills the rest of the boot."""
    parts = inputs.parts_at(fps)
    once_s = inputs.once_only_s(parts, fps)
    rest_s = max(0.0, inputs.boot.spread[1] - once_s)
    rest = "the last picture holds" if len(parts[-1].sources) == 1 else f"part {len(parts)} plays"
    what = (
        f"{slowest} fps would finish in time, but would look like a slide show; auto takes {fps} fps: the parts that "
        f"play once end at {once_s:.1f} s, and {rest} for the rest, usually {rest_s:.1f} s"
    )
    plays = _plays_that_fit(inputs, parts, fps)
    mend = f"draw more pictures{f', or set plays = {plays},' if plays > 1 else ''} to fill the boot with motion"
    return note("auto-not-slower", what, mend, file=FILE_NAME, field="motion.fps")


def _plays_that_fit(inputs: PlanInputs, parts: tuple[PlannedPart, ...], fps: int) -> int:
    """Return how often the one part that plays once could play before the radio has booted; 1 where there are more."""
    first, *rest = parts
    if first.row.count != 1 or any(part.row.count for part in rest):
        return 1
    plays = 1
    while plays < min(inputs.radio.firmware.max_plays, MOST_PLAYS):
        more = (replace(first, row=replace(first.row, count=plays + 1)), *rest)
        played = tuple(part.played for part in more)
        if not inputs.in_time(more, fps) or memory.finding(inputs.radio, played):
            break
        plays += 1
    return plays


def _own_fps(inputs: PlanInputs) -> int:
    """Return the rate that the art itself asks for; 0 where it asks for none.

    A clip asks for the rate nearest to the median time of its pictures, of several clips the quickest; what is drawn
    to last some seconds asks for `LOOP_FPS`. Both last as long at any rate, so without this lower limit "auto" would
    always choose the lowest.
    """
    parts = [part for part in inputs.art.parts if not part.hold_of]
    clips = [_nearest_fps(inputs, median(inputs.art.probes[part.names[0]].durations_ms)) for part in parts if part.clip]
    return max([*clips, *(LOOP_FPS for part in parts if part.entry.lasts_seconds)], default=0)


def _nearest_fps(inputs: PlanInputs, picture_ms: float) -> int:
    limits = inputs.radio.limits

    def off_by_ms(fps: int) -> float:
        return abs(1000 / inputs.shown_rate(fps) - picture_ms)

    return min(range(limits.fps_min, limits.fps_max + 1), key=off_by_ms)


# -- parts that take too long -----------------------------------------------------------------------


def made_to_fit(
    inputs: PlanInputs, parts: tuple[PlannedPart, ...], fps: int
) -> tuple[tuple[PlannedPart, ...], list[Reason]]:
    """Return the parts, thinned where they take too long and the manifest allows it, and what the artist is told."""
    if inputs.in_time(parts, fps):
        return parts, []
    motion = inputs.manifest.motion
    thinned, left_out = _thinned(inputs, parts, fps)
    once_s = inputs.once_only_s(parts, fps)
    what = (
        f"at {fps} fps the parts that play once take {once_s:.1f} s on {inputs.radio.name}; "
        f"only {inputs.boot.share_finished(once_s):.0%} of starts last that long, {inputs.finish:.0%} are wanted"
    )
    if thinned is not None and motion.thin:
        return thinned, [note("thinned", f"{what}; {left_out} frames were left out, evenly")]
    mend = "shorten the pauses, or accept a lower finish"
    if thinned is not None:
        does_it = under_motion(inputs.manifest, "thin = true")
        mend = f"leave out {left_out} frames, evenly, or accept a lower finish; to have them left out, {does_it}"
    chosen_by_hand = isinstance(motion.fps, int) and "finish" not in motion.model_fields_set
    ready_made = "fps" not in motion.model_fields_set  # whoever made the archive has seen it on a radio
    if chosen_by_hand and (ready_made or inputs.boot.share_finished(once_s) >= NEVER):
        return parts, [note("cut-mid-motion", what, mend, file=FILE_NAME, field="motion.finish")]
    if chosen_by_hand:
        mend = _quicker(inputs) or mend
    field = "motion.fps" if chosen_by_hand else "motion.finish"
    return parts, [refuse("cut-mid-motion", what, mend, file=FILE_NAME, field=field)]


def _quicker(inputs: PlanInputs) -> str | None:
    """Propose the least rate that finishes in time, where there is one, and to paste one that looks like motion too."""
    fps = _least_fps(inputs, 0)
    if not inputs.in_time(inputs.parts_at(fps), fps):
        return None
    line = under_motion(inputs.manifest, f"fps = {_least_fps(inputs, inputs.slowest_fps)}")
    return f'set fps = {fps} or more, or "auto"; or leave out frames: {line}'


def _thinned(
    inputs: PlanInputs, parts: tuple[PlannedPart, ...], fps: int
) -> tuple[tuple[PlannedPart, ...] | None, int]:
    """Return the parts with the fewest frames left out so that they finish in time, and how many were left out.

    Return None where leaving out frames does not help: the pauses alone take too long.
    """
    kept = kept_frames(tuple(p.played for p in parts), inputs.pacing_at(fps), inputs.boot, inputs.finish)
    if kept is None:
        return None, 0
    thinned = tuple(_with_frames(part, frames) for part, frames in zip(parts, kept, strict=True))
    return thinned, sum(len(p.sources) for p in parts) - sum(len(p.sources) for p in thinned)


def _with_frames(part: PlannedPart, frames: int) -> PlannedPart:
    return part.only(thin(len(part.sources), frames))


# -- what the sheet shows ---------------------------------------------------------------------------


def slide_show_reasons(inputs: PlanInputs, parts: Sequence[PlannedPart], fps: int) -> list[Reason]:
    """Return a note where the rate is so low that a part of three or more pictures looks like a slide show."""
    most = max((len(p.sources) for p in parts if p.row.count != 0), default=0)
    if fps >= inputs.slowest_fps or most < FEWEST_MOVING:
        return []
    what = f"at {fps} fps each picture stands for {1 / fps:.2g} s: the motion will look like a slide show"
    line = under_motion(inputs.manifest, f"fps = {inputs.slowest_fps}")
    mend = f"draw more pictures; or, to end earlier and hold longer, {line}"
    return [note("jumpy", what, mend, file=FILE_NAME, field="motion.fps")]


def neighbouring_rates(
    radio: Radio, boot: BootModel, played_at: Callable[[int], tuple[PlayedPart, ...]], fps: int
) -> tuple[PaceRow, ...]:
    """Return how the parts would play at `fps` and the rates beside it; `played_at` gives the parts at a rate."""
    limits = radio.limits
    return alternatives(played_at, lambda at: pacing(radio, at), boot, fps, limits.fps_min, limits.fps_max)
