"""A strip's frames made by the crew, and what is kept of each."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from keyturn.eye import handoff
from keyturn.flatten.frame_source import Source
from keyturn.judge.findings import CellStore
from keyturn.package.animation import Store, Take
from keyturn.package.frame import FrameDone, FrameJob, make_frame
from keyturn.renumber.plan import Plan
from keyturn.shop.reasons import Reason, Refused
from keyturn.workers.crew import Crew

BROKEN_SHOWN = 40
"""After so many broken pictures the artist knows enough."""


@dataclass(slots=True)
class Film:
    """What is kept of the frames once their files are on disk: little, whatever their number."""

    cells: CellStore
    store: Store
    takes: dict[int, Take] = field(default_factory=dict)
    thumbs: list[str] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    banding: list[tuple[float, float]] = field(default_factory=list)

    def keep(self, done: FrameDone, name: str) -> int:
        number = self.show(done)
        if number not in self.takes:
            whole = self.store.add(done.data)
            cropped = self.store.add(done.cropped.data, done.cropped.cut) if done.cropped else None
            self.takes[number] = Take(name, whole, cropped, done.plain_bytes, done.photographic)
        return number

    def show(self, done: FrameDone) -> int:
        """The picture's number: of equal pictures the first is kept."""
        number = self.cells.add(done.digest, done.cells)
        if number == len(self.thumbs):
            self.thumbs.append(data_uri(done.thumb))
            self.reasons += done.reasons
            self.banding.append((done.banding_before, done.banding_after))
        return number

    def changes(self, numbers: Sequence[int]) -> tuple[float, ...]:
        """How far each picture of a part is from the one before."""
        moved = (handoff.change(self.cells[a], self.cells[b]) if a != b else 0.0 for a, b in pairwise(numbers))
        return (0.0, *moved)


def shoot(
    plan: Plan, frame: Callable[[Source], FrameJob], crew: Crew, film: Film, tick: Callable[[int], None]
) -> list[list[int]]:
    """Picture numbers of every part's frames in playing order; each distinct source is made once.

    Files go to disk as they come from the crew; none is held longer than it must be. `tick` hears how many frames
    are done. Raises `Refused` with every broken picture.
    """
    sources = [source for part in plan.parts for source in part.sources]
    results = crew.run(make_frame, map(frame, dict.fromkeys(sources)), lambda job: job.source.name)
    broken: list[Reason] = []
    kept: dict[Source, int] = {}
    for done, source in enumerate(sources):
        tick(done)
        if source in kept:
            continue
        result = next(results)
        if isinstance(result, Refused):
            broken += result.reasons
        kept[source] = -1 if isinstance(result, Refused) else film.keep(result, source.name)
        if len(broken) >= BROKEN_SHOWN:
            break
    if broken:
        raise Refused(broken)
    return [[kept[source] for source in part.sources] for part in plan.parts]


def data_uri(webp: bytes) -> str:
    return "data:image/webp;base64," + base64.b64encode(webp).decode("ascii")
