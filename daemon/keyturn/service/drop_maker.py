"""What becomes of one claimed drop: it goes to the outbox, to rejects, or back to the inbox.

This is the one boundary of the service where outcomes are told apart: made, refused, changed while it was made,
stopped, a fault of the shop's machine (raised; nothing is lost), and a bug of ours (tried once more, then refused).
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Collection
from concurrent.futures import CancelledError
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from loguru import logger

from keyturn import pipeline
from keyturn.inbox.doubts import Doubts
from keyturn.inbox.survey import Snapshot
from keyturn.outbox import revision_numbers
from keyturn.outbox.record_files import refused_before
from keyturn.pages.rejects import rejected_pages
from keyturn.pipeline import Bench, calibration, fleet, stock
from keyturn.pipeline.fleet import FleetJobs
from keyturn.pipeline.stock import StockDrop
from keyturn.service import abrupt_ends, film_intake, fleet_maker, slip_intake, stock_intake
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_folders import DropFolders
from keyturn.service.fleet_maker import BuiltFleet, Pages
from keyturn.service.hooks import Event
from keyturn.service.send_backs import SendBacks
from keyturn.service.side_by_side import SideBySide
from keyturn.service.unread_drops import ended_abruptly, our_bug, unread
from keyturn.shop.file_names import without_ending
from keyturn.shop.progress import Stopped
from keyturn.shop.reasons import Reason, Refused, ShopFault, shop_fault
from keyturn.shop.records import JobRecord, Rejection


@dataclass(frozen=True, slots=True)
class DropMaker:
    """Makes claimed drops.

    `missed` is called when the ledger or a sheet could not follow a drop that has gone on. `told` hears each outcome
    with its record. `rules_changed` is called where films have changed the shop's rules. `beside` keeps apart what is
    made at the same time.
    """

    folders: DropFolders
    books: Bookkeeping
    bench: Bench
    missed: Callable[[], None] = lambda: None
    told: Callable[[Event, dict[str, Any]], None] = lambda event, record: None
    doubts: Doubts = field(default_factory=lambda: Doubts(()))
    beside: SideBySide = field(default_factory=SideBySide)
    rules_changed: Callable[[], None] = lambda: None

    @property
    def back(self) -> SendBacks:
        return SendBacks(self.folders, self.doubts, self.beside.moving)

    def process(self, claim: Claim) -> Outcome:
        """Make the drop and move it on. Raise `ShopFault` or OSError where the shop's machine is at fault: the drop
        is safe, and a later try goes on with it."""
        with self.beside.moving:
            current = self.folders.resume(claim.id)
        if current is None:  # a fault cut off an earlier try after the drop had gone on
            self.missed()
            return Outcome.FINISHED
        for is_last in (False, True):
            if abrupt_ends.is_to_blame(current):
                return self._reject(current, self._unread(current, ended_abruptly(current)))
            current = abrupt_ends.count_try(self.folders.shop.work, current)
            before = self.folders.artist_snapshot(current)
            try:
                return self._published_or_refused(current, before)
            except (Stopped, CancelledError):
                self.folders.give_up_staging(current)
                self.uncount_try(current)
                return Outcome.STOPPED
            except Exception as error:
                outcome = self._after_error(current, before, error, is_last=is_last)
                if outcome is not None:
                    return outcome
        raise AssertionError("the last try gives an outcome or raises")

    def _published_or_refused(self, claim: Claim, before: Snapshot) -> Outcome:
        try:
            self.bench.progress.stage("reading")
            if (slip_text := slip_intake.text_in(self.folders.drop_of(claim))) is not None:
                return self._enter_slip(claim, before, slip_text)
            scratch = self._new_scratch(claim)
            opened = pipeline.opened(self.folders.drop_of(claim), scratch, self.bench.rules)
            if (stock_drop := stock.of_stock(opened, scratch, self.bench)) is not None:
                return self._keep_stock(claim, before, stock_drop)
            if (films := calibration.of_films(opened, self.bench)) is not None:
                lesson = film_intake.learnt(films, self.bench)
                return self._keep(claim, before, lambda: lesson.publish(claim, self.folders, self.rules_changed))
            with self.bench.digests.taken_ahead(opened.found.root / name for name in opened.found.files):
                return self._make_ordered(claim, before, opened, scratch)
        except Refused as refused:
            returned = self.back.if_changed(claim, before)
            returned = returned or self.back.if_arriving(claim, before, refused.reasons, refused.root)
            return returned or self._reject(claim, refused)

    def _after_error(self, claim: Claim, before: Snapshot, error: Exception, *, is_last: bool) -> Outcome | None:
        """Return the outcome after an error that is no refusal; None where the drop is to be tried once more.

        Raise the error where the shop's machine is at fault, or where the drop has gone on already.
        """
        self.folders.give_up_staging(claim)
        if isinstance(error, ShopFault) or (isinstance(error, OSError) and shop_fault(error)):
            raise error
        if self.folders.went_on(claim):
            raise error  # a new try finishes what is left to do, and makes nothing again
        if (returned := self.back.if_changed(claim, before)) is not None:
            return returned
        logger.opt(exception=error).error("{}: our own bug", claim.name)
        if is_last:
            return self._reject(claim, self._unread(claim, our_bug()))
        self.uncount_try(claim)
        return None

    def _next_revision(self, job: pipeline.Job) -> int:
        shop = self.folders.shop
        known = (shop.outbox, shop.archive, shop.numbers)
        return revision_numbers.next_number(known, job.customer_folder, job.job_folder)

    def _new_scratch(self, claim: Claim) -> Path:
        scratch = self._scratch(claim)
        with suppress(FileNotFoundError):
            shutil.rmtree(scratch)
        scratch.mkdir()
        return scratch

    def remove_scratch(self, claim: Claim) -> None:
        """Give back the space that a try took."""
        shutil.rmtree(self._scratch(claim), ignore_errors=True)

    def _scratch(self, claim: Claim) -> Path:
        return self.folders.shop.work / claim.id / "scratch"

    def uncount_try(self, claim: Claim) -> None:
        """Take back the count of a try that ended through no fault of the drop's."""
        try:
            abrupt_ends.uncount_try(self.folders.shop.work, claim)
        except OSError:
            logger.warning("{}: could not note that the try did not count", claim.name)

    # -- where the drop goes ----------------------------------------------------------------------

    def _make_ordered(self, claim: Claim, before: Snapshot, opened: pipeline.OpenedDrop, scratch: Path) -> Outcome:
        partly = bool(self.folders.published(claim))
        job = fleet.ordered(opened, job_name(claim), scratch, self.bench, good_alone=partly)
        if isinstance(job, FleetJobs):
            return self._make_fleet(claim, before, job, scratch)
        return self._make_job(claim, before, job, scratch)

    def _make_job(self, claim: Claim, before: Snapshot, job: pipeline.Job, scratch: Path) -> Outcome:
        if returned := self.back.if_arriving(claim, before, job.reasons, job.found.root):
            return returned
        with self._alone_with([(job.customer_folder, job.job_folder)]):
            revision, staging = self._next_revision(job), self.folders.staging(claim)
            made = pipeline.make(job, claim.id, claim.name, revision, staging, scratch, self.bench)
            target = f"{job.customer_folder}/{job.job_folder}-r{revision}"
            returned = self.back.if_changed(claim, before)
            return returned or self._publish(claim, staging, target, made.record)

    def _alone_with(self, jobs: Collection[tuple[str, str]]) -> AbstractContextManager[None]:
        return self.beside.alone_with(jobs, self.bench.progress.check)

    def _publish(self, claim: Claim, staging: Path, target: str, record: JobRecord) -> Outcome:
        progress = self.bench.progress
        shutil.rmtree(self._scratch(claim))
        progress.stage("publish")
        with self.beside.moving:
            self.doubts.forget(claim.name)
            self.folders.publish(claim, staging, target)
            progress.stage("sheet")
            self._enter(lambda: self.books.enter_ready(target, record))
        times = progress.times()
        self.told("ready", {"path": f"outbox/{target}", "job": record.model_dump(mode="json")})
        logger.success("{}: ready in outbox/{} ({})", claim.name, target, times)
        return Outcome.READY

    def _make_fleet(self, claim: Claim, before: Snapshot, jobs: FleetJobs, scratch: Path) -> Outcome:
        known, root = jobs.refused(jobs.faults).reasons, jobs.opened.found.root
        if returned := self.back.if_arriving(claim, before, known, root):
            return returned
        with self._alone_with([(row.customer_folder, row.job_folder) for row in jobs.rows]):
            made = fleet_maker.built(jobs, claim, self.folders, scratch, self.bench)
            return self.back.if_changed(claim, before) or self._publish_fleet(claim, made)

    def _publish_fleet(self, claim: Claim, made: BuiltFleet) -> Outcome:
        rejected = self._rejection(claim, made.refused) if made.refused is not None else None
        self.bench.progress.stage("publish")
        with self.beside.moving:
            self._move_fleet(claim, made, rejected)
        return Outcome.READY

    def _move_fleet(self, claim: Claim, made: BuiltFleet, rejected: tuple[Rejection, Pages] | None) -> None:
        rest = fleet_maker.lay_rest(made, claim, self.folders, *rejected) if rejected else None
        self.remove_scratch(claim)
        self.doubts.forget(claim.name)
        targets = (*self.folders.published(claim), *made.revisions)
        refused = self.folders.publish_fleet(claim, made.revisions, rest)
        self.bench.progress.stage("sheet")
        self._enter(lambda: self.books.enter_fleet(targets))
        times = self.bench.progress.times()
        for target, record in self.books.jobs(targets):
            self.told("ready", {"path": f"outbox/{target}", "job": record.model_dump(mode="json")})
        logger.success("{}: {} jobs ready in the outbox ({})", claim.name, len(targets), times)
        if refused is not None and rejected is not None:
            self._tell_refused(claim, refused, rejected[0])

    def _enter_slip(self, claim: Claim, before: Snapshot, text: bytes) -> Outcome:
        slip = slip_intake.checked(text, self.folders.shop.outbox, claim)
        if returned := self.back.if_changed(claim, before):
            return returned
        with self.beside.moving:
            self.doubts.forget(claim.name)
            if (answered := slip_intake.enter(slip, claim, self.folders, self.books)) is not None:
                self.told("answered", answered)
        return Outcome.ENTERED

    def _keep_stock(self, claim: Claim, before: Snapshot, found: StockDrop) -> Outcome:
        customer, _, folder = found.target.partition("/")
        with self._alone_with([(customer, folder)]):
            made = stock_intake.built(found, claim, self.folders, self.bench)
            return self._keep(claim, before, lambda: stock_intake.keep(made, claim, self.folders))

    def _keep(self, claim: Claim, before: Snapshot, publish: Callable[[], None]) -> Outcome:
        """Publish what is no job, where the drop has not changed since."""
        if returned := self.back.if_changed(claim, before):
            return returned
        self.remove_scratch(claim)
        with self.beside.moving:
            self.doubts.forget(claim.name)
            publish()
        return Outcome.ENTERED

    def _enter(self, enter: Callable[[], None]) -> None:
        """Enter a drop that has gone on into the books. An error here must not make the drop be made again."""
        try:
            enter()
        except OSError as error:
            logger.warning("the sheet or the ledger could not follow: {}", error)
            self.missed()

    def _reject(self, claim: Claim, refused: Refused) -> Outcome:
        if self.folders.published(claim):  # of a fleet: what is out stays out, and the drop is archived
            self.folders.give_up_staging(claim)
            return self._publish_fleet(claim, BuiltFleet({}, self.folders.drop_of(claim), refused))
        rejection, pages = self._rejection(claim, refused)
        self.folders.give_up_staging(claim)
        self.remove_scratch(claim)
        with self.beside.moving:
            self.doubts.forget(claim.name)
            folder = self.folders.reject(claim, rejection, pages)
            self._tell_refused(claim, folder, rejection)
        return Outcome.REFUSED

    def _unread(self, claim: Claim, reason: Reason) -> Refused:
        return unread(self.folders.drop_of(claim), self._new_scratch(claim), self.bench.rules, reason)

    def _rejection(self, claim: Claim, refused: Refused) -> tuple[Rejection, Pages]:
        """Return the record and the pages of a refusal."""
        before = refused_before(self.folders.drop_of(claim))
        rejection = pipeline.rejection(refused, claim.id, claim.name, self.bench, mends=before)
        return rejection, rejected_pages(rejection, self.bench.papers.letterhead)

    def _tell_refused(self, claim: Claim, folder: Path, rejection: Rejection) -> None:
        self._enter(lambda: self.books.enter_refused(folder, rejection))
        record = rejection.model_dump(mode="json", exclude={"pictures"})
        self.told("refused", {"path": f"rejects/{folder.name}", "rejection": record})
        logger.warning("{}: refused, see rejects/{}", claim.name, folder.name)


def job_name(claim: Claim) -> str:
    return claim.name if claim.form == "folder" else without_ending(claim.name)
