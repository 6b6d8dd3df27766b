"""Whether a drop goes back to the inbox, to settle anew: it changed while it was made, or looks as if still copied."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from loguru import logger

from keyturn.inbox.doubts import Doubts, still_arriving
from keyturn.inbox.survey import Snapshot
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.reasons import Reason


@dataclass(frozen=True, slots=True)
class SendBacks:
    """Sends drops back to the inbox. `doubts` remembers those that looked as if they were still being copied.

    `moving` is held while it does: see `SideBySide`.
    """

    folders: DropFolders
    doubts: Doubts
    moving: AbstractContextManager[Any] = field(default_factory=nullcontext)

    def if_changed(self, claim: Claim, before: Snapshot) -> Outcome | None:
        """Send the drop back to the inbox, to settle anew, where it is not as it was or is being written to."""
        same = self.folders.artist_snapshot(claim) == before and not self.folders.is_written(claim)
        if same or self.folders.published(claim):  # some rows of a fleet are out
            return None
        self._send_back(claim, "changed while it was being made")
        return Outcome.RETURNED

    def if_arriving(
        self, claim: Claim, before: Snapshot, reasons: Sequence[Reason], root: Path | None
    ) -> Outcome | None:
        """Send the drop back to the inbox where its only faults are those of a copy in progress, and it has not been
        left alone as it is often enough."""
        looks = still_arriving(reasons, self.folders.drop_of(claim), root)
        with self.moving:
            if not looks or not self.doubts.is_to_wait(claim.name, before) or self.folders.published(claim):
                return None
            place = self._send_back(claim, looks)
            self.doubts.sent_back(claim.name, place.name, before, looks)
        return Outcome.RETURNED

    def _send_back(self, claim: Claim, why: str) -> Path:
        with self.moving:
            self.folders.give_up_staging(claim)
            place = self.folders.send_back(claim)
        logger.info("{}: {}; back to the inbox as {}", claim.name, why, place.name)
        return place
