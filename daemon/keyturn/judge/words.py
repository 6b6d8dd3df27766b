"""Words drawn on frames that the panel's edge cuts off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from keyturn.flatten.figures import ink_of
from keyturn.flatten.motion import Pose
from keyturn.manifest.models import FILE_NAME
from keyturn.renumber.plan import Plan
from keyturn.renumber.planned_parts import PlannedPart
from keyturn.shop.reasons import Reason, note

SEEN = 0.01
"""A smaller share of the ink is not noticed to be missing, or to be there. Keyturn's own choice."""

Size = tuple[int, int]


def words_reasons(plan: Plan) -> list[Reason]:
    """Return a note on words that are never seen whole, and on words that are cut off in the picture that holds.

    Words that come in over the edge, or leave over it, are as they should be.
    """
    found: dict[str, Reason] = {}
    for index, part in enumerate(plan.parts):
        for text, poses in _texts(part):
            least = _least_cut_off(text, poses, plan.radio.panel.size)
            holds = len(part.sources) == 1
            if text not in found and least > SEEN and not (holds and least > 1 - SEEN):
                found[text] = _note(plan, index, text, least, _size_that_fits(text, poses, plan.radio.panel.size))
    return list(found.values())


def _texts(part: PlannedPart) -> Iterator[tuple[str, list[Pose]]]:
    """Yield each text that is drawn on the part, with its place in every frame in which it is seen."""
    most = max((len(source.figures) for source in part.sources), default=0)
    for place in range(most):
        placed = [source.figures[place] for source in part.sources if len(source.figures) > place]
        poses = [each.pose for each in placed if each.pose.opacity > 0 and each.pose.height > 0]
        if placed[0].figure.text and poses:
            yield placed[0].figure.text, poses


def _least_cut_off(text: str, poses: Sequence[Pose], panel: Size) -> float:
    """Return the share of the text's ink that lies outside the panel where least of it does."""
    points, aspect = ink_of(text)
    least = 1.0 if len(points) else 0.0
    for pose in dict.fromkeys(poses):
        across, down = ((points - pose.pivot) * (aspect * pose.height, pose.height)).T
        cos, sin = math.cos(math.radians(pose.turn)), math.sin(math.radians(pose.turn))
        x, y = pose.x + across * cos - down * sin, pose.y + across * sin + down * cos
        least = min(least, float(np.mean((x < 0) | (y < 0) | (x > panel[0]) | (y > panel[1]))))
        if least == 0:
            break
    return least


def _size_that_fits(text: str, poses: Sequence[Pose], panel: Size) -> float | None:
    """Return a size, as a share of the panel's height, at which the text is as wide as the panel; None where it is
    never wider."""
    aspect = ink_of(text)[1]
    if min(pose.height for pose in poses) * aspect <= panel[0]:
        return None
    return math.floor(1000 * panel[0] / aspect / panel[1]) / 1000


def _note(plan: Plan, index: int, text: str, cut_off: float, size: float | None) -> Reason:
    where = plan.part_in_words(index)
    if cut_off > 1 - SEEN:
        what = f'the words "{text}" of {where} are never on the panel'
    elif len(plan.parts[index].sources) == 1:
        what = f'{cut_off:.0%} of the words "{text}" is outside the panel in the picture that holds, {where}'
    else:
        what = f'the words "{text}" of {where} are never whole on the panel: {cut_off:.0%} of them is cut off'
    mend = f"make them smaller: size = {size:g} is as wide as the panel" if size else "move their path onto the panel"
    return note("words-cut-off", what, mend, file=FILE_NAME)
