"""What drops are made with: rules, workers, a clock, and what workers have made before."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from keyturn.package import PRELOAD
from keyturn.package.kept_tasks import KEPT_TASKS
from keyturn.shop.file_digests import FileDigests
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.papers import Papers
from keyturn.shop.progress import Progress
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import KeepSettings, Settings
from keyturn.shop.shop_fonts import NO_FONTS, ShopFonts
from keyturn.shop.units import GIB
from keyturn.workers.choice import chosen_crew
from keyturn.workers.crew import Crew
from keyturn.workers.drop_crew import DropCrew
from keyturn.workers.keeping_crew import KeepingCrew
from keyturn.workers.program_versions import code_digest


def frame_crew(wanted: Settings, rules: Rulebook) -> Crew:
    """Return the crew that the settings name, with workers that know this work. Raise as `chosen_crew`."""
    return chosen_crew(wanted, rules, PRELOAD)


def kept_results(folder: Path, keep: KeepSettings) -> KeptResults | None:
    """Return what workers have made before, in `folder`; None where the settings want nothing kept.

    Call it when a process starts: see `code_digest`.
    """
    code_digest()
    return KeptResults(folder, int(keep.frames_gib * GIB)) if keep.frames_gib else None


@dataclass(frozen=True)
class Bench:
    """What the work is done with. `now` returns the time in UTC.

    `kept` holds what workers have made of other drops; `digests` are those of this drop's files.
    `fonts` are the shop's. `restores` says for which radios of a customer stock files are kept, and where.
    """

    rules: Rulebook
    crew: Crew
    now: Callable[[], datetime]
    progress: Progress = field(default_factory=Progress)
    papers: Papers = field(default_factory=Papers)
    kept: KeptResults | None = None
    digests: FileDigests = field(default_factory=FileDigests)
    fonts: ShopFonts = NO_FONTS
    restores: Callable[[str, Iterable[str]], Mapping[str, str]] = lambda customer, radios: {}

    def for_one_drop(self) -> Bench:
        """Return the bench with a crew that bounds the time of one drop, and does nothing again that was kept."""
        crew, digests = self.crew, FileDigests()
        if self.kept is not None:
            crew = KeepingCrew(crew, self.kept, KEPT_TASKS, digests, code_digest())
        bounded = DropCrew(crew, self.rules.intake, lambda: self.progress.current, self.progress.now)
        return replace(self, crew=bounded, digests=digests)

    def for_next_job(self) -> Bench:
        """Return the bench for another job of the same drop, which may take as long as a drop of its own."""
        return replace(self, crew=self.crew.for_next_job()) if isinstance(self.crew, DropCrew) else self
