"""Words drawn on frames that the panel's edge cuts off."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.flatten.figures import Figure, ink_of
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
    for shown in _shown(plan):
        cut = _CutWords(shown.figure.text, *_ink(plan, shown.figure), shown.poses, plan.radio.panel.size)
        least = cut.least_cut_off()
        if cut.text not in found and least > SEEN and not (shown.holds and least > 1 - SEEN):
            text = cut.text.replace("\n", " ")
            found[cut.text] = _note(shown, text, least, cut.size_that_fits(_lines(shown.figure)))
    return list(found.values())


@dataclass(frozen=True, slots=True)
class _ShownWords:
    """Words, their place in every picture in which they are seen, and in words which pictures these are.

    `holds`: they are one picture, which stands.
    """

    figure: Figure
    poses: tuple[Pose, ...]
    where: str
    holds: bool


def _shown(plan: Plan) -> Iterator[_ShownWords]:
    logo = plan.logo.figures if plan.logo else ()
    own = [placed for placed in logo if placed not in plan.parts[0].sources[0].figures]
    yield from (_ShownWords(placed.figure, (placed.pose,), "the boot logo", True) for placed in own)
    for index, part in enumerate(plan.parts):
        for figure, poses in _texts(part):
            yield _ShownWords(figure, poses, plan.part_in_words(index), len(part.sources) == 1)


def _texts(part: PlannedPart) -> Iterator[tuple[Figure, tuple[Pose, ...]]]:
    """Yield each text that is drawn on the part, with its place in every frame in which it is seen."""
    most = max((len(source.figures) for source in part.sources), default=0)
    for place in range(most):
        placed = [source.figures[place] for source in part.sources if len(source.figures) > place]
        poses = tuple(each.pose for each in placed if each.pose.opacity > 0 and each.pose.height > 0)
        if placed[0].figure.text and poses:
            yield placed[0].figure, poses


def _ink(plan: Plan, figure: Figure) -> tuple[NDArray[np.float64], float]:
    """Return where the figure's ink is, and its width by its height."""
    made = plan.words.set_for(figure)
    return (made.ink, made.words.width / made.words.height) if made else ink_of(figure.text)


def _lines(figure: Figure) -> float:
    """Return how many lines high the figure is: job.toml says the height of one."""
    return figure.words[0].height / figure.words[0].line if figure.words else 1.0


@dataclass(frozen=True, slots=True)
class _CutWords:
    """Words with their ink and the panel: how much of them lies outside it."""

    text: str
    ink: NDArray[np.float64]
    aspect: float
    poses: tuple[Pose, ...]
    panel: Size

    def least_cut_off(self) -> float:
        """Return the share of the text's ink that lies outside the panel where least of it does."""
        least = 1.0 if len(self.ink) else 0.0
        for pose in dict.fromkeys(self.poses):
            across, down = ((self.ink - pose.pivot) * (self.aspect * pose.height, pose.height)).T
            cos, sin = math.cos(math.radians(pose.turn)), math.sin(math.radians(pose.turn))
            x, y = pose.x + across * cos - down * sin, pose.y + across * sin + down * cos
            least = min(least, float(np.mean((x < 0) | (y < 0) | (x > self.panel[0]) | (y > self.panel[1]))))
            if least == 0:
                break
        return least

    def size_that_fits(self, lines: float) -> float | None:
        """Return a line's height, as a share of the panel's, at which the text is as wide as the panel.

        None where it is never wider.
        """
        if min(pose.height for pose in self.poses) * self.aspect <= self.panel[0]:
            return None
        return math.floor(1000 * self.panel[0] / self.aspect / self.panel[1] / lines) / 1000


def _note(shown: _ShownWords, text: str, cut_off: float, size: float | None) -> Reason:
    if cut_off > 1 - SEEN:
        what = f'the words "{text}" of {shown.where} are never on the panel'
    elif shown.holds:
        what = f'{cut_off:.0%} of the words "{text}" is outside the panel in the picture that holds, {shown.where}'
    else:
        what = f'the words "{text}" of {shown.where} are never whole on the panel: {cut_off:.0%} of them is cut off'
    mend = f"make them smaller: size = {size:g} is as wide as the panel" if size else "move their path onto the panel"
    return note("words-cut-off", what, mend, file=FILE_NAME)
