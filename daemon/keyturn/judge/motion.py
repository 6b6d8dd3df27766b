"""Where the motion shows a jump or stands still: from logo to frame 1, from part to part, and within a part."""

from __future__ import annotations

from collections.abc import Sequence

from keyturn.eye.motion import stumbles
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
    for before, (part, after) in zip(numbers, zip(plan.parts[1:], numbers[1:], strict=True), strict=False):
        if part.row.count == 0 and before[-1] != after[0]:
            what = f"the last picture before {part.row.path} is not the one that {part.row.path} begins with"
            return [note("hold-jumps", what, "end the motion in the picture that holds, for a seamless rest")]
    return []


def stumble_reasons(plan: Plan, changes: Sequence[Sequence[float]]) -> list[Reason]:
    """Return notes on frames that repeat the one before amid motion, or follow a gap.

    `changes[p]` holds, for each frame of part p, its change from the frame before. The first figure of a part is not
    looked at. Messages number frames from 1, as the film strip does.
    """
    found = []
    for part, moved in zip(plan.parts, changes, strict=True):
        odd = stumbles(moved[1:])
        for code, frames, what in (
            ("motion-stands", odd.doubled, "no change from the picture before, amid motion"),
            ("motion-jumps", odd.jumps, "a change far above its neighbours', as if a picture were missing"),
        ):
            if frames:
                more = " ..." if len(frames) > LISTED else ""
                shown = ", ".join(str(frame + 1) for frame in frames[:LISTED]) + more
                found.append(note(code, f"{part.row.path}, frame {shown}: {what}", "look at the film strip"))
    return found
