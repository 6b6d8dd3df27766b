"""Stored files made smaller by the crew, and what a few of them tell of all before that work is done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from keyturn.package.animation import FrameStore, StoredFile
from keyturn.package.repack import Recode, recode
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import Crew, end

SAMPLED = 4
"""So many files, evenly spaced, tell what becomes of all."""

DOUBT = 1.25
"""How wrong a sample may be: all files save at most so many times the best share in it, and keep at least so small a
part of what that file kept. Keyturn's own choice."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a sample saved: the share of all its bytes, and the share of that file which saved most."""

    saved: float
    best: float

    @property
    def most(self) -> float:
        """The largest share of their bytes that all files together could save."""
        return min(DOUBT * self.best, 1 - (1 - self.best) / DOUBT)

    def may_save(self, share: float) -> bool:
        """Could all files together save this share of their bytes?"""
        return share <= self.most


@dataclass(frozen=True, slots=True)
class Smaller:
    """Makes stored files anew, smaller, by the crew. Each of the two ways takes at most `seconds` in all."""

    store: FrameStore
    crew: Crew
    progress: Progress
    seconds: float

    def successors(self, files: Iterable[StoredFile], quality: int | None) -> dict[StoredFile, StoredFile]:
        """Return a successor for each file that becomes smaller.

        `quality` is that of a JPEG; None packs a PNG harder, to the pixel. A file that cannot be made anew, or not in
        time, has no successor. Raise `Stopped` where the work is to stop.
        """
        distinct = list(dict.fromkeys(files))
        self.progress.stage("packing harder" if quality is None else "making JPEG", len(distinct))
        jobs = (Recode(self.store.read(file), quality, file.name) for file in distinct)
        results = self.crew.run(recode, jobs, lambda job: f"{job.name}, as packed")  # not the artist's own file
        made: dict[StoredFile, StoredFile] = {}
        for file in distinct:
            if self.progress.seconds() > self.seconds:
                end(results)
                break
            result = next(results)
            self.progress.piece()
            if not isinstance(result, Refused) and len(result.data) < file.size:
                stored = self.store.add(result.data)
                made[file] = replace(
                    file,
                    start=stored.start,
                    size=stored.size,
                    kind=stored.kind,
                    palette=stored.palette,
                    lost=result.lost,
                )
        return made

    def outlook(self, files: Sequence[StoredFile], quality: int | None) -> Outlook:
        """Return what `successors` would save, told by a few of the files."""
        few = [files[place] for place in evenly_spaced(len(files), SAMPLED)]
        made = self.successors(few, quality)
        saved = {file: file.size - made.get(file, file).size for file in few}
        shares = [bytes_saved / file.size for file, bytes_saved in saved.items()]
        return Outlook(sum(saved.values()) / max(1, sum(file.size for file in few)), max(shares, default=0.0))
