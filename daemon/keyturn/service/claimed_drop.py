"""Takes one claimed drop through the line and out: to the outbox, to rejects, or back to the inbox.

This is the one boundary where outcomes are told apart: made, refused, changed under our hands, stopped,
the shop's fault (comes out as `ShopFault`, nothing is lost) and our own bug (tried again, then rejected).
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable
from concurrent.futures import CancelledError
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby
from pathlib import Path
from typing import Any

from loguru import logger

from keyturn import __version__, pipeline
from keyturn.flatten.frame_source import Source
from keyturn.inbox.settle import Snapshot
from keyturn.manifest import reading
from keyturn.manifest.models import FILE_NAME
from keyturn.outbox import papers, revision_numbers
from keyturn.outbox.customer_folder import standing
from keyturn.outbox.ledger import Ledger
from keyturn.package.picture_tasks import Check, small
from keyturn.package.shooting import data_uri
from keyturn.pages.rejects import rejected_html, rejected_text
from keyturn.pipeline import Bench, Stopped
from keyturn.renumber.parts import is_art
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import Spool
from keyturn.service.hooks import Event
from keyturn.service.stage_times import Laps
from keyturn.shop.reasons import Kind, Reason, Refused, ShopFault, only, refuse, shop_fault
from keyturn.shop.records import JobRecord, Rejection

MOST_TRIES = 5
"""A drop on which the work ended abruptly so often (each time the service was killed) goes to rejects. Pictures
are read in workers, whose deaths cost a reason at once; what kills the service itself is mostly not the drop."""

PICTURES_SHOWN = 12


class Outcome(StrEnum):
    READY = "ready"
    REFUSED = "refused"
    RETURNED = "returned"
    STOPPED = "stopped"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class Foreman:
    """`missed` is called when the folders went ahead of the sheet or the ledger: they must be reconciled.

    `told` hears each outcome with its record.
    """

    spool: Spool
    ledger: Ledger
    bench: Bench
    missed: Callable[[], None] = lambda: None
    told: Callable[[Event, dict[str, Any]], None] = lambda event, record: None

    def process(self, claim: Claim) -> Outcome:
        """Raises `ShopFault` where the shop's machine is at fault: the drop is safe, try again later."""
        try:
            current = self.spool.resume(claim.id)
            if current is None:  # an earlier try was cut off by a fault after the drop had gone on
                self.missed()
                return Outcome.FINISHED
            return self._try(current)
        except ShopFault:
            self._forgive(claim)
            raise
        except OSError as error:
            fault = shop_fault(error)
            if fault is None:
                raise
            self._forgive(claim)
            raise fault from error

    def _try(self, claim: Claim, bugs: int = 0) -> Outcome:
        if claim.tries >= MOST_TRIES:
            return self._reject(claim, [_defeats(claim)])
        claim = self.spool.count_try(claim)
        before = self.spool.artist_snapshot(claim)
        try:
            return self._make(claim, before)
        except Refused as refused:
            return self._if_unchanged(claim, before) or self._reject(claim, refused.reasons)
        except (Stopped, CancelledError):
            self._forgive(claim)
            return Outcome.STOPPED
        except Exception as error:
            if isinstance(error, ShopFault) or (isinstance(error, OSError) and shop_fault(error)):
                raise
            if self.spool.went_out(claim):
                raise  # only archiving is left: a new try finishes that and makes nothing again
            if (returned := self._if_unchanged(claim, before)) is not None:
                return returned
            return self._our_bug(claim, error, bugs + 1)

    def _make(self, claim: Claim, before: Snapshot) -> Outcome:
        laps = Laps(self.bench.progress)
        bench = replace(self.bench, progress=laps)
        laps("reading", 0, 0)
        scratch = self._scratch(claim)
        job = pipeline.understand(self.spool.drop_of(claim), job_name(claim), scratch, bench)
        shop = self.spool.shop
        told = (shop.outbox, shop.archive, shop.numbers)
        revision = revision_numbers.next_number(told, job.customer_folder, job.job_folder)
        staging = self.spool.staging(claim)
        try:
            made = pipeline.make(job, claim.id, claim.name, revision, staging, scratch, bench)
        except BaseException:
            shutil.rmtree(staging, ignore_errors=True)
            raise
        if (returned := self._if_unchanged(claim, before)) is not None:
            shutil.rmtree(staging, ignore_errors=True)
            return returned
        target = f"{job.customer_folder}/{job.job_folder}-r{revision}"
        shutil.rmtree(scratch)
        laps("publish", 0, 1)
        self.spool.publish(claim, staging, target)
        laps("sheet", 0, 1)
        self._follow(lambda: self.enter(target, made.record))
        took = laps.end()
        self.told("ready", {"path": f"outbox/{target}", "job": made.record.model_dump(mode="json")})
        logger.success("{}: ready in outbox/{} ({})", claim.name, target, took)
        return Outcome.READY

    def _follow(self, enter: Callable[[], None]) -> None:
        """The drop has gone on: a fault now must not make it be done again."""
        try:
            enter()
        except OSError as error:
            logger.warning("the sheet or the ledger could not follow: {}", error)
            self.missed()

    def enter(self, target: str, record: JobRecord) -> None:
        """The sheet and the ledger follow the folders."""
        papers.write_sheet(self.spool.shop.outbox, target.partition("/")[0], self.bench.rules)
        self.ledger.add_ready(target, record)

    def reconcile(self) -> None:
        """The ledger and the sheets learn of every folder they do not know, and forget those that are gone."""
        shop = self.spool.shop
        known = set(self.ledger.ready_paths())
        there = set()
        for customer in sorted(p for p in shop.outbox.iterdir() if p.is_dir()):
            there |= {f"{customer.name}/{name}" for name in standing(customer)}
        for customer, targets in groupby(sorted(there - known), key=lambda target: target.partition("/")[0]):
            self._enter_all(customer, targets)
        self.ledger.drop_ready(p for p in known - there if not os.path.lexists(shop.outbox / p / "job.json"))
        known = set(self.ledger.refused_paths())
        for folder in sorted(shop.rejects.iterdir()):
            if f"rejects/{folder.name}" not in known and (rejection := papers.read_rejection(folder)) is not None:
                self.enter_refused(folder, rejection)
        self.ledger.drop_refused(p for p in known if not os.path.lexists(shop.root / p / "REJECTED.json"))

    def _enter_all(self, customer: str, targets: Iterable[str]) -> None:
        """Many of one customer's at once: one sheet, one transaction."""
        outbox = self.spool.shop.outbox
        made = [(target, record) for target in targets if (record := papers.read_job(outbox / target)) is not None]
        if made:
            papers.write_sheet(outbox, customer, self.bench.rules)
            self.ledger.add_all_ready(made)

    def enter_refused(self, folder: Path, rejection: Rejection) -> None:
        self.ledger.add_refused(f"rejects/{folder.name}", folder.name, rejection)

    def _scratch(self, claim: Claim) -> Path:
        scratch = self.spool.shop.work / claim.id / "scratch"
        with suppress(FileNotFoundError):
            shutil.rmtree(scratch)
        scratch.mkdir()
        return scratch

    def _if_unchanged(self, claim: Claim, before: Snapshot) -> Outcome | None:
        """None where the drop is as it was; otherwise it goes back to the inbox to settle anew."""
        if self.spool.artist_snapshot(claim) == before:
            return None
        place = self.spool.send_back(claim)
        logger.info("{}: changed while it was being made; back to the inbox as {}", claim.name, place.name)
        return Outcome.RETURNED

    def _our_bug(self, claim: Claim, error: Exception, bugs: int) -> Outcome:
        logger.opt(exception=error).error("{}: our own bug", claim.name)
        if bugs < 2:
            return self._try(claim, bugs)
        return self._reject(claim, [_bug(error)])

    def _forgive(self, claim: Claim) -> None:
        """A try that ended through no fault of the drop's does not count."""
        try:
            self.spool.uncount_try(claim)
        except OSError:
            logger.warning("{}: could not note that the try did not count", claim.name)

    def _reject(self, claim: Claim, reasons: list[Reason] | tuple[Reason, ...]) -> Outcome:
        rejection = Rejection(
            keyturn=__version__,
            drop=claim.name,
            claim=claim.id,
            customer=self._customer(claim),
            rejected_at=self.bench.now().isoformat(timespec="seconds"),
            reasons=tuple(reasons),
            pictures=self._pictures(claim, only(reasons, Kind.REFUSE)),
        )
        pages = {"REJECTED.html": rejected_html(rejection), "REJECTED.txt": rejected_text(rejection)}
        shutil.rmtree(self.spool.shop.work / claim.id / "scratch", ignore_errors=True)
        folder = self.spool.reject(claim, rejection, pages)
        self._follow(lambda: self.enter_refused(folder, rejection))
        said = rejection.model_dump(mode="json", exclude={"pictures"})
        self.told("refused", {"path": f"rejects/{folder.name}", "rejection": said})
        logger.warning("{}: refused, see rejects/{}", claim.name, folder.name)
        return Outcome.REFUSED

    def _customer(self, claim: Claim) -> str | None:
        for place in self._places(claim):
            if (place / FILE_NAME).is_file():
                read, _ = reading.read_leniently(place)
                return read.customer if read else None
        return None

    def _places(self, claim: Claim) -> list[Path]:
        """Where the artist's own folder may be: the drop, its unpacked zip, or one folder inside those."""
        tops = [self.spool.drop_of(claim), self.spool.shop.work / claim.id / "scratch" / "unpacked"]
        tops = [top for top in tops if top.is_dir()]
        return tops + [p for top in tops for p in sorted(top.iterdir()) if p.is_dir() and not p.is_symlink()]

    def _pictures(self, claim: Claim, reasons: tuple[Reason, ...]) -> dict[str, str]:
        """Small pictures of the offending files, as far as they can be drawn."""
        names = [n for n in dict.fromkeys(r.file for r in reasons) if n and is_art(n)][:PICTURES_SHOWN]
        found = [(n, p / n) for n in names for p in self._places(claim) if _plain_file(p / n)]
        jobs = [Check(Source(path, name), self.bench.rules.intake) for name, path in dict(found).items()]
        pictures = {}
        results = self.bench.crew.run(small, jobs, lambda job: job.source.name)
        for job, result in zip(jobs, results, strict=True):
            if not isinstance(result, Refused):
                pictures[job.source.name] = data_uri(result)
        return pictures


def job_name(claim: Claim) -> str:
    return claim.name if claim.form == "folder" else (Path(claim.name).stem or claim.name)


def _plain_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _defeats(claim: Claim) -> Reason:
    return refuse(
        "drop-defeats-service",
        f"the work on this drop ended abruptly {claim.tries} times",
        "save the pictures anew and send it again; tell whoever runs Keyturn",
    )


def _bug(error: Exception) -> Reason:
    return refuse(
        "keyturn-bug",
        f"Keyturn itself failed on this drop ({type(error).__name__}: {error})",
        "this is not your fault: tell whoever runs Keyturn, the service's log has the details",
    )
