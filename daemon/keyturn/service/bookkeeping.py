"""The ledger and the customers' sheets follow the folders, which are the truth."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from keyturn.outbox import record_files, sheets
from keyturn.outbox.customer_folder import revisions_with_record
from keyturn.outbox.ledger import Ledger
from keyturn.shop.folders import Shop
from keyturn.shop.records import JobRecord, Rejection
from keyturn.shop.rulebook import Rulebook


@dataclass(frozen=True, slots=True)
class Bookkeeping:
    """Enters revisions and refused drops into the ledger, and writes the sheets anew."""

    shop: Shop
    ledger: Ledger
    rules: Rulebook

    def enter_ready(self, target: str, record: JobRecord) -> None:
        """Enter one revision; `target` is its path in the outbox."""
        sheets.write_sheet(self.shop.outbox, target.partition("/")[0], self.rules)
        self.ledger.add_ready(target, record)

    def enter_refused(self, folder: Path, rejection: Rejection) -> None:
        """Enter one folder of rejects."""
        self.ledger.add_refused(f"rejects/{folder.name}", folder.name, rejection)

    def reconcile(self, alive: Callable[[], object] = lambda: None) -> None:
        """Enter every folder that the ledger does not know, and take out those that are gone.

        `alive` is called before each customer whose revisions are entered: in a large shop that takes a while.
        """
        self._reconcile_outbox(alive)
        self._reconcile_rejects()

    def _reconcile_outbox(self, alive: Callable[[], object]) -> None:
        outbox = self.shop.outbox
        known = set(self.ledger.ready_paths())
        there = set()
        for customer in sorted(path for path in outbox.iterdir() if path.is_dir()):
            there |= {f"{customer.name}/{name}" for name in revisions_with_record(customer)}
        for customer_name, targets in groupby(sorted(there - known), key=lambda target: target.partition("/")[0]):
            alive()
            self._enter_all(customer_name, targets)
        self.ledger.drop_ready(path for path in known - there if not os.path.lexists(outbox / path / "job.json"))

    def _enter_all(self, customer: str, targets: Iterable[str]) -> None:
        """Enter all revisions of one customer with one sheet and one transaction."""
        outbox = self.shop.outbox
        made = [
            (target, record) for target in targets if (record := record_files.read_job(outbox / target)) is not None
        ]
        if made:
            sheets.write_sheet(outbox, customer, self.rules)
            self.ledger.add_all_ready(made)

    def _reconcile_rejects(self) -> None:
        known = set(self.ledger.refused_paths())
        for folder in sorted(self.shop.rejects.iterdir()):
            if f"rejects/{folder.name}" not in known and (rejection := record_files.read_rejection(folder)) is not None:
                self.enter_refused(folder, rejection)
        self.ledger.drop_refused(path for path in known if not os.path.lexists(self.shop.root / path / "REJECTED.json"))
