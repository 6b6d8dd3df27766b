"""Where the motion shows a jump or stands still: from logo to frame 1, from part to part, and within a part."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from keyturn.eye.motion import join_jump, stumbles
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, note
from keyturn.shop.records import HandoffRecord

LISTED = 8
"""So many frames of one finding are numbered; an ellipsis stands for the others."""


def handoff_reasons(record: HandoffRecord, logo_is_own: bool) -> list[Reason]:
    """Return the note where a logo that is no frame of the animation differs visibly from frame 1."""
    if record.share_changed == 0 or not logo_is_own:
        return []
    what = (
        f"frame 1 differs from the logo in {record.share_changed:.0%} of the pixels "
        f"(mean colour difference {record.mean_difference:.1f}): the change will be seen"
    )
    mend = 'use frame 1 as the logo for an unseen hand-off, or begin with crossfade = { from = "logo", seconds = 1 }'
    return [note("handoff-seen", what, mend)]


def hold_reasons(plan: Plan, numbers: Sequence[Sequence[int]]) -> list[Reason]:
    """Return the note where the motion does not end in the picture that then holds.

    `numbers` are the numbers of each part's pictures; equal pictures have one number.
    """
    for index, (before, after) in enumerate(pairwise(numbers), 1):
        if _holds(plan, index) and before[-1] != after[0]:
            what = f"the last picture before {plan.part_in_words(index)} is not the one that then holds"
            return [note("hold-jumps", what, "end the motion in the picture that holds, for a seamless rest")]
    return []


def _holds(plan: Plan, index: int) -> bool:
    part = plan.parts[index]
    return part.row.count == 0 and len(part.sources) == 1


def join_reasons(plan: Plan, changes: Sequence[Sequence[float]], joins: Sequence[float]) -> list[Reason]:
    """Return notes on parts that begin with a jump. `joins` are the changes from each part's last frame to the next
    part's first; for `changes` see `stumble_reasons`."""
    found = []
    for index, (change, (before, after)) in enumerate(zip(joins, pairwise(changes), strict=True), 1):
        times = join_jump(before[1:], change, after[1:])
        if times and not _holds(plan, index):
            what = (
                f"{plan.part_in_words(index)} begins with a jump: its first picture differs from the last of part "
                f"{index} {times:.1f} times as much as pictures around it from each other"
            )
            found.append(
                note("parts-jump", what, "begin it where the part before ends, or dissolve into it: crossfade")
            )
    return found


def stumble_reasons(plan: Plan, changes: Sequence[Sequence[float]], numbers: Sequence[Sequence[int]]) -> list[Reason]:
    """Return notes on frames that repeat the one before amid motion, or follow a gap.

    `changes[p]` holds, for each frame of part p, its change from the frame before. The first figure of a part is not
    looked at. Messages number frames from 1, as the film strip does. Where Keyturn left frames out itself, a jump must
    stand out from its neighbours for each frame left out as well. With the pictures' `numbers` (see `hold_reasons`) a
    swing that turns back is told from a doubled frame.
    """
    found = []
    for index, (part, moved) in enumerate(zip(plan.parts, changes, strict=True)):
        odd = stumbles(moved[1:], part.steps)
        for code, frames, what in (
            (
                "motion-stands",
                [f for f in odd.doubled if not _turns_back(numbers[index], f)],
                "no change from the picture before, amid motion",
            ),
            (
                "motion-jumps",
                odd.jumps,
                "a change far above its neighbours', as if a picture were missing",
            ),
        ):
            if frames:
                more = " ..." if len(frames) > LISTED else ""
                shown = ", ".join(str(frame + 1) for frame in frames[:LISTED]) + more
                where = f"{plan.part_in_words(index)}, frame {shown}"
                found.append(note(code, f"{where}: {what}", "look at the film strip"))
    return found


def _turns_back(numbers: Sequence[int], frame: int) -> bool:
    """Whether the picture before the doubled one comes again after it: between A B B A the motion turns."""
    return 2 <= frame < len(numbers) - 1 and numbers[frame - 2] == numbers[frame + 1]
