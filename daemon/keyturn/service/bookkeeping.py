"""The ledger and the customers' sheets follow the folders, which are the truth."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path

from loguru import logger

from keyturn.inbox.survey import MENDED
from keyturn.outbox import record_files, sheets, standings
from keyturn.outbox.customer_folder import revisions_with_record
from keyturn.outbox.ledger import Ledger
from keyturn.service.changed_rejects import note_changes
from keyturn.shop import durable_files
from keyturn.shop.folders import Shop
from keyturn.shop.papers import Papers
from keyturn.shop.records import JobRecord, Rejection
from keyturn.shop.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class Bookkeeping:
    """Enters revisions and refused drops into the ledger, and writes the sheets anew."""

    shop: Shop
    ledger: Ledger
    rules: Rulebook
    papers: Papers = field(default_factory=Papers)

    def enter_ready(self, target: str, record: JobRecord) -> None:
        """Enter one revision; `target` is its path in the outbox."""
        sheets.write_sheet(self.shop.outbox, target.partition("/")[0], self.rules, self.papers)
        self._clear_mended(target, record)
        self.ledger.add_ready(target, record)

    def enter_fleet(self, targets: Iterable[str]) -> None:
        """Enter the revisions of a fleet, by their paths in the outbox: each customer's sheet is written once."""
        for customer, group in groupby(sorted(targets), key=lambda target: target.partition("/")[0]):
            self._enter_all(customer, group)

    def jobs(self, targets: Iterable[str]) -> Iterator[tuple[str, JobRecord]]:
        """Yield the revisions with these paths in the outbox whose records can be read."""
        for target in targets:
            if (record := record_files.read_job(self.shop.outbox / target)) is not None:
                yield target, record

    def enter_slip(self, target: str) -> None:
        """Write anew what tells of the revision `target`: something became of it. Raise OSError where that fails."""
        sheets.write_sheet(self.shop.outbox, target.partition("/")[0], self.rules, self.papers)
        self._follow([target])

    def _follow(self, targets: Iterable[str]) -> None:
        made = self.ledger.made_for()
        standings.follow(self.ledger, self.shop.outbox, {path: made[path] for path in targets if path in made})

    def _clear_mended(self, target: str, record: JobRecord) -> None:
        """Clear the refused drops that the revision is a mended copy of: it may be a copy of a copy.

        The artist's files stay in rejects. MENDED.txt beside them keeps them off the lists of what is to be done.
        """
        claim, cleared = record.mends, set[str]()
        while claim and claim not in cleared and (path := self.ledger.refused_path(claim)):
            cleared.add(claim)
            rejection = record_files.read_rejection(self.shop.root / path)
            if rejection and rejection.claim == claim:
                _mark_mended(self.shop.root / path, target)
            self.ledger.drop_refused([path])
            claim = rejection.mends if rejection else None

    def enter_refused(self, folder: Path, rejection: Rejection) -> None:
        """Enter one folder of rejects."""
        self.ledger.add_refused(f"rejects/{folder.name}", folder.name, rejection)

    def reconcile(self, alive: Callable[[], object] = lambda: None) -> None:
        """Enter every folder that the ledger does not know, and take out those that are gone.

        `alive` is called before each customer whose revisions are entered, and for each refused drop: in a large shop
        that takes a while.
        """
        alive()
        self._reconcile_rejects(alive)
        self._note_changed_rejects()
        self._reconcile_outbox(alive)

    def _reconcile_outbox(self, alive: Callable[[], object]) -> None:
        outbox = self.shop.outbox
        known = set(self.ledger.ready_paths())
        there = set()
        for customer in sorted(path for path in outbox.iterdir() if path.is_dir() and path != self.shop.building):
            there |= {f"{customer.name}/{name}" for name in revisions_with_record(customer)}
        for customer_name, targets in groupby(sorted(there - known), key=lambda target: target.partition("/")[0]):
            alive()
            self._enter_all(customer_name, targets)
        self.ledger.drop_ready(path for path in known - there if not os.path.lexists(outbox / path / "job.json"))
        self._follow(self.ledger.made_for())

    def _enter_all(self, customer: str, targets: Iterable[str]) -> None:
        """Enter all revisions of one customer with one sheet and one transaction."""
        made = list(self.jobs(targets))
        if made:
            sheets.write_sheet(self.shop.outbox, customer, self.rules, self.papers)
            for target, record in made:
                self._clear_mended(target, record)
            self.ledger.add_all_ready(made)

    def _reconcile_rejects(self, alive: Callable[[], object]) -> None:
        known = set(self.ledger.refused_paths())
        for folder in sorted(self.shop.rejects.iterdir()):
            if f"rejects/{folder.name}" in known or record_files.is_mended(folder):
                continue
            alive()
            if (rejection := record_files.read_rejection(folder)) is not None:
                self.enter_refused(folder, rejection)
        self.ledger.drop_refused(path for path in known if not self._is_refused(self.shop.root / path))

    def _note_changed_rejects(self) -> None:
        for row in self.ledger.refused():
            folder = self.shop.root / row.path
            if (rejection := note_changes(folder, row.reasons, self.papers.letterhead)) is not None:
                self.enter_refused(folder, rejection)

    @staticmethod
    def _is_refused(folder: Path) -> bool:
        return os.path.lexists(folder / "REJECTED.json") and not record_files.is_mended(folder)


def _mark_mended(folder: Path, target: str) -> None:
    """Say in a folder of rejects that it is done with. A folder that takes no file stays on the lists: it is the
    artist's, and must not stop the books."""
    text = f"outbox/{target} was made from a mended copy of this folder. Nothing is left to do here.\n"
    try:
        durable_files.write_atomic(folder / MENDED, text.encode("utf-8"))
    except (PermissionError, FileNotFoundError, NotADirectoryError, IsADirectoryError) as error:
        logger.warning("rejects/{} is mended but cannot be marked so: {}", folder.name, error.strerror)
