"""Builds revisions beside the outbox and publishes them; then the drop that they were made from goes to the archive.

`drop_folders` says which files stand beside a drop in work, and does every other move.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from keyturn.inbox.moving import finish_move, free_name, move
from keyturn.inbox.survey import OURS
from keyturn.outbox import calibration_folders, published_digests, restore_folders, revision_numbers
from keyturn.service.claims import Claim, Intent, Publication, read_record, write_record
from keyturn.shop import durable_files
from keyturn.shop.file_modes import BUILDING_DIR, KEPT_DIR, close_to_group, keep_mode
from keyturn.shop.folders import Shop
from keyturn.shop.own_files import is_plain_folder, make_own_folder, remove_left_over
from keyturn.shop.records import CalibrationRecord, JobRecord, RestoreRecord


class RevisionFolders:
    """The folders of revisions, and the drops that they are made from."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop

    def drop_of(self, claim: Claim) -> Path:
        """Return the folder in work that holds the drop; a single file lies inside it."""
        return self.shop.work / claim.id / "drop"

    def staging(self, claim: Claim) -> Path:
        """Make and return an empty folder for the revision, on the outbox's file system."""
        make_own_folder(self.shop.building, BUILDING_DIR & 0o777)
        keep_mode(self.shop.building, BUILDING_DIR)
        self.remove_staging(claim)
        place = self.shop.building / claim.id
        place.mkdir()
        return place

    def remove_staging(self, claim: Claim) -> None:
        """Remove what has been built of the claim's revision."""
        remove_left_over(self.shop.building, re.compile(re.escape(claim.id)))

    def give_up_staging(self, claim: Claim) -> None:
        """Remove what has been built of the claim's revision, as far as the disk lets: recovery removes the rest."""
        with suppress(OSError):
            self.remove_staging(claim)

    def publish(self, claim: Claim, staged: Path, target: str) -> Path:
        """Rename the built revision to outbox/<target>, then archive the artist's drop. Return the new path."""
        publication = Publication(target=target)
        self._ready(staged, target)
        write_record(self.shop.work / claim.id / "publish.json", publication)
        self._move_in(staged, self.shop.outbox / target)
        self._archive(claim, publication)
        return self.shop.outbox / target

    def publish_fleet(self, claim: Claim, built: Mapping[str, Path], rest: str | None = None) -> Path | None:
        """Rename the built revisions, folders in `staging`, to their targets in the outbox, then archive the drop.

        Those that an earlier try published stay. `rest` is the name in rejects of what `lay_rest` has laid ready:
        return its path then. Raise FileExistsError where a target is there already.
        """
        for target, place in built.items():
            self._ready(place, target)
        done = self.published(claim)
        targets, places = (*done, *built), (*("gone" for _ in done), *(place.name for place in built.values()))
        publication = Publication(target=targets[0], others=targets[1:], places=places, rest=rest)
        write_record(self.shop.work / claim.id / "publish.json", publication)
        refused = self._move_fleet(claim, publication)
        self._archive(claim, publication)
        return refused

    def _ready(self, staged: Path, target: str) -> None:
        close_to_group(staged)
        durable_files.fsync_tree(staged)
        published_digests.record(self.shop.published, target, staged)

    def _move_fleet(self, claim: Claim, publication: Publication) -> Path | None:
        for target, place in zip(publication.targets, publication.places, strict=True):
            if not self._is_published(claim, target):
                self._move_in(self.shop.building / claim.id / place, self.shop.outbox / target)
        return self._move_rest(claim, publication)

    def _move_rest(self, claim: Claim, publication: Publication) -> Path | None:
        rest = self.rest_of(claim)
        if publication.rest is None or not rest.is_dir():
            return None
        target = self.shop.rejects / publication.rest
        if not finish_move(rest, target):
            target = free_name(self.shop.rejects, publication.rest)
            move(rest, target)
        return target

    def rest_of(self, claim: Claim) -> Path:
        """Return the folder in work that holds the faulty rows of a fleet on their way to rejects."""
        return self.shop.work / claim.id / "rest"

    def published(self, claim: Claim) -> tuple[str, ...]:
        """Return the targets of the revisions of this claim that are in the outbox, while its drop is in work."""
        publication = read_record(self.shop.work / claim.id / "publish.json", Publication)
        if publication is None:
            return ()
        return tuple(target for target in publication.targets if self._is_published(claim, target))

    def finish_publishing(self, claim: Claim) -> bool:
        """Do what is left of a publishing that was cut off. Return whether everything is published and archived.

        A fleet's revisions that were built and not renamed yet are in `staging`. Where one is gone, or something else
        has its name, that row is to be made again; publish.json stays while any row is published.
        """
        record = self.shop.work / claim.id / "publish.json"
        publication = read_record(record, Publication)
        if publication is None:
            record.unlink(missing_ok=True)
            return False
        if publication.places:
            with suppress(FileNotFoundError, FileExistsError):
                self._move_fleet(claim, publication)
        done = self.published(claim)
        if len(done) == len(publication.targets):
            self._archive(claim, publication)
            return True
        if not done:
            record.unlink()
        return False

    def _move_in(self, source: Path, target: Path) -> None:
        """Move `source` to `target`, making the customer's folder. Raise FileExistsError where `target` exists, or
        where something else than a folder has the customer's name: a link may lead anywhere."""
        customer = target.parent
        if not is_plain_folder(customer):
            customer.mkdir()
            durable_files.fsync_dir(customer.parent)
        keep_mode(customer, KEPT_DIR)
        move(source, target)

    def _archive(self, claim: Claim, publication: Publication) -> None:
        """Note the revisions' numbers and move the drop from work to the archive, without Keyturn's own files."""
        for target in publication.targets:
            revision_numbers.record_number(self.shop.numbers, target)
        if publication.places:
            self.remove_staging(claim)  # it is empty, for a fleet's revisions lay in it
        self._keep(claim, publication.target)

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

    def _is_published(self, claim: Claim, target: str) -> bool:
        folder = self.shop.outbox / target
        record: JobRecord | RestoreRecord | CalibrationRecord | None
        record = read_record(folder / "job.json", JobRecord)
        record = record or read_record(folder / restore_folders.RECORD, RestoreRecord)
        record = record or read_record(folder / calibration_folders.RECORD, CalibrationRecord)
        return record is not None and record.claim == claim.id

    def _discard(self, place: Path) -> None:
        """Remove a work folder whose drop is elsewhere. Raise OSError where the drop still holds any file."""
        with suppress(FileNotFoundError):
            (place / "drop").rmdir()  # rmdir(2) refuses a folder that is not empty
        shutil.rmtree(place)
        durable_files.fsync_dir(self.shop.work)
