"""Builds revisions beside the outbox and publishes them; then the drop that they were made from goes to the archive.

`drop_folders` says which files stand beside a drop in work, and does every other move.
"""

from __future__ import annotations

import re
import shutil
from contextlib import suppress
from pathlib import Path

from keyturn.inbox.moving import finish_move, move
from keyturn.inbox.survey import OURS
from keyturn.outbox import published_digests, revision_numbers
from keyturn.service.claims import Claim, Intent, read_record, write_record
from keyturn.shop import durable_files
from keyturn.shop.file_modes import BUILDING_DIR, KEPT_DIR, close_to_group, keep_mode
from keyturn.shop.folders import Shop
from keyturn.shop.own_files import is_plain_folder, make_own_folder, remove_left_over
from keyturn.shop.records import JobRecord


class RevisionFolders:
    """The folders of revisions, and the drops that they are made from."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop

    def drop_of(self, claim: Claim) -> Path:
        """Return the folder in work that holds the drop; a single file lies inside it."""
        return self.shop.work / claim.id / "drop"

    def staging(self, claim: Claim) -> Path:
        """Make and return an empty folder for the revision, on the outbox's file system."""
        make_own_folder(self.shop.building)
        keep_mode(self.shop.building, BUILDING_DIR)
        self.remove_staging(claim)
        place = self.shop.building / claim.id
        place.mkdir()
        return place

    def remove_staging(self, claim: Claim) -> None:
        """Remove what has been built of the claim's revision."""
        remove_left_over(self.shop.building, re.compile(re.escape(claim.id)))

    def publish(self, claim: Claim, staged: Path, target: str) -> Path:
        """Rename the built revision to outbox/<target>, then archive the artist's drop. Return the new path."""
        intent = Intent(target=target)
        close_to_group(staged)
        durable_files.fsync_tree(staged)
        published_digests.record(self.shop.published, target, staged)
        write_record(self.shop.work / claim.id / "publish.json", intent)
        self._move_in(staged, self.shop.outbox / target)
        self._archive(claim, intent)
        return self.shop.outbox / target

    def _move_in(self, source: Path, target: Path) -> None:
        """Move `source` to `target`, making the customer's folder. Raise FileExistsError where `target` exists, or
        where something else than a folder has the customer's name: a link may lead anywhere."""
        customer = target.parent
        if not is_plain_folder(customer):
            customer.mkdir()
            durable_files.fsync_dir(customer.parent)
        keep_mode(customer, KEPT_DIR)
        move(source, target)

    def _archive(self, claim: Claim, intent: Intent) -> None:
        """Note the revision's number and move the drop from work to the archive, without Keyturn's own files."""
        revision_numbers.record_number(self.shop.numbers, intent.target)
        self._keep(claim, intent.target)

    def archive_slip(self, claim: Claim, target: str) -> None:
        """Move a slip that was entered beside the revision `target` from work to the archive."""
        write_record(self.shop.work / claim.id / "entered.json", Intent(target=target))
        self._keep(claim, target)

    def _kept(self, claim: Claim, target: str) -> Path:
        return self.shop.archive / f"{target}--{claim.id}"

    def _keep(self, claim: Claim, target: str) -> None:
        drop, kept = self.drop_of(claim), self._kept(claim, target)
        if drop.exists() and not finish_move(drop, kept):
            for ours in OURS:
                with suppress(FileNotFoundError, IsADirectoryError):
                    (drop / ours).unlink()
            self._move_in(drop, kept)
        self._discard(self.shop.work / claim.id)

    def _published(self, claim: Claim, intent: Intent) -> bool:
        record = read_record(self.shop.outbox / intent.target / "job.json", JobRecord)
        return record is not None and record.claim == claim.id

    def _discard(self, place: Path) -> None:
        """Remove a work folder whose drop is elsewhere. Raise OSError where the drop still holds any file."""
        with suppress(FileNotFoundError):
            (place / "drop").rmdir()  # rmdir(2) refuses a folder that is not empty
        shutil.rmtree(place)
        durable_files.fsync_dir(self.shop.work)
