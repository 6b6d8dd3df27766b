"""The player's pictures that are made with their frames, while their pixels are at hand.

They are as `player_pictures` would have them made afterwards, in its first look, and are used where that look is taken.
"""

from __future__ import annotations

from keyturn.flatten.frame_source import Source
from keyturn.package.frame import FrameDone
from keyturn.package.player_patch import PatchDone, PatchJob, PictureDone
from keyturn.package.radio_job import RadioJob
from keyturn.renumber.plan import Plan

PlayerLook = tuple[int | None, int]
"""The short side in pixels, None for the panel's own size, and the WebP quality."""

WORTH_A_BASE = 8
"""A part of fewer pictures is left to the player: each worker would have to make the part's first picture for them."""

TOLD_BY = 8
"""So many pictures tell whether all of them can be small enough for the sheet."""

CHARACTERS_A_BYTE = 4 / 3
"""Of base64 (RFC 4648), in which the sheet holds its pictures."""


class PlayerAhead:
    """Asks for the pictures of one radio as long as it seems that the sheet has room for all, and keeps them."""

    def __init__(self, job: RadioJob, look: tuple[int, int]) -> None:
        self._bases, self._look, self._budget = _bases(job.plan), look, job.player_budget
        self._patches = dict[int, PatchDone]()
        self._digests = dict[int, str]()
        self._characters = 0.0

    def asked(self, source: Source) -> PatchJob | None:
        """Return what is to be made with the frame of `source`; None where its picture is left to the player."""
        base = self._bases.get(source)
        return PatchJob(base, *self._look) if base is not None and self._has_room() else None

    def _has_room(self) -> bool:
        count = len(self._patches)
        expected = self._characters if count < TOLD_BY else self._characters / count * len(self._bases)
        return expected <= self._budget

    def keep(self, number: int, done: FrameDone) -> None:
        """Keep what was made with the frame that is picture `number` of the store."""
        self._digests[number] = done.digest
        if done.patch and number not in self._patches:
            self._patches[number] = done.patch
            self._characters += CHARACTERS_A_BYTE * len(done.patch.picture.webp)

    def found(self, number: int, base: int, look: PlayerLook) -> PictureDone | None:
        """Return picture `number` beside picture `base`, where it was made so."""
        patch = self._patches.get(number)
        if patch is None or (patch.short_side, patch.quality) != look or patch.base != self._digests.get(base):
            return None
        return patch.picture


def _bases(plan: Plan) -> dict[Source, Source]:
    """Return the first source of its part for each source whose picture may move.

    Clips have none: a worker in the middle of one would have to go back to its first picture.
    """
    bases = dict[Source, Source]()
    for part in plan.parts:
        first = part.sources[0]
        distinct = dict.fromkeys(part.sources)
        if len(distinct) >= WORTH_A_BASE and first.index is None:
            for source in distinct:
                bases.setdefault(source, first)
    for still in (plan.logo, plan.parts[-1].sources[-1], *(part.sources[0] for part in plan.parts)):
        bases.pop(still, None) if still else None
    return bases
