"""Make one drop without a shop, through the same pipeline as the service: for `keyturn make` and `keyturn check`."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from typing import TypeVar

from keyturn import pipeline
from keyturn.inbox.moving import move
from keyturn.outbox import revision_numbers, sheets
from keyturn.outbox.customer_folder import revision_names
from keyturn.package.refused_pictures import exhibited, file_pictures
from keyturn.pipeline import Bench, Job, Made, fleet
from keyturn.pipeline.stock import StockDrop, of_stock
from keyturn.shop import durable_files
from keyturn.shop.file_names import without_ending
from keyturn.shop.reasons import Refused, refuse
from keyturn.shop.records import PlayerRecord, ProofRecord


@dataclass(frozen=True, slots=True)
class MadeByHand:
    """What was made, the revision's folder and the customer's sheet. Both are None where nothing is kept.

    Of a fleet it is the first row's, `others` are the further ones, without their pictures, and `refused` is the
    refusal of the rows that the right ones did not wait for.
    """

    made: Made
    folder: Path | None
    sheet: Path | None
    others: tuple[MadeByHand, ...] = ()
    refused: Refused | None = None


def make(drop: Path, out: Path, bench: Bench) -> MadeByHand:
    """Make `drop` into out/<customer>/<job>-rN. Raise `Refused` where it cannot be made, and leave no half of it."""
    out.mkdir(parents=True, exist_ok=True)
    with _opened(drop) as (folder, scratch), ExitStack() as stagings:

        def build(job: Job, place: Path, own: Bench) -> _Built:
            staging, revision = stagings.enter_context(_staging(out, job))
            made = pipeline.make(job, f"by-hand-{drop.name}", drop.name, revision, staging, place, own)
            durable_files.fsync_tree(staging)
            return _Built(made, staging, _target(out, job, revision))

        built, refused = _each_job(drop, folder, scratch, bench, build)
        for each in built:
            each.target.parent.mkdir(exist_ok=True)
            move(each.staging, each.target)
        sheets_of = {each.target.parent: None for each in built}
        written = {customer: _write_sheet(out, customer.name, bench) for customer in sheets_of}
        return _as_one([MadeByHand(b.made, b.target, written[b.target.parent]) for b in built], refused)


def check(drop: Path, bench: Bench) -> MadeByHand:
    """Make `drop` as `make` does, and keep nothing. The result has every reason that the shop would find."""
    with _opened(drop) as (folder, scratch):
        made, refused = _each_job(drop, folder, scratch, bench, lambda job, place, own: _checked(job, drop, place, own))
        return _as_one([MadeByHand(each, None, None) for each in made], refused)


def _checked(job: Job, drop: Path, scratch: Path, bench: Bench) -> Made:
    with tempfile.TemporaryDirectory(prefix="keyturn-") as staging:
        return pipeline.make(job, "check", drop.name, 1, Path(staging), scratch, bench)


def stock_in(drop: Path, bench: Bench) -> StockDrop | None:
    """Return what the shop would keep of a drop of stock files; None for any other. Raise `Refused` as it would."""
    with _opened(drop) as (folder, scratch):
        return of_stock(pipeline.opened(folder, scratch, bench.rules), scratch, bench)


@dataclass(frozen=True, slots=True)
class _Built:
    """A revision in its `staging` folder, on its way to `target`."""

    made: Made
    staging: Path
    target: Path


T = TypeVar("T", Made, _Built)


def _each_job(
    drop: Path, folder: Path, scratch: Path, bench: Bench, work: Callable[[Job, Path, Bench], T]
) -> tuple[list[T], Refused | None]:
    """Do `work` on the drop's job, or on each row's of a fleet, with a scratch folder; return the results, and the
    refusal of faulty rows. Raise `Refused` where these keep the right ones from being made."""
    opened = pipeline.opened(folder, scratch, bench.rules)
    with bench.digests.taken_ahead(opened.found.root / name for name in opened.found.files):
        ordered = fleet.ordered(opened, drop_name(drop), scratch, bench)
        if isinstance(ordered, Job):
            return [work(ordered, scratch, bench)], None
    done, faults = list[T](), dict(ordered.faults)
    for row in ordered.rows:
        place = scratch / f"row-{row.number}"
        place.mkdir()
        own = bench.for_next_job()
        try:
            done.append(_without_pictures(work(ordered.job(row, place, own), place, own), first=not done))
        except Refused as refused:
            faults[row.number] = refused.reasons
        finally:
            shutil.rmtree(place)
    if faults and not (ordered.fleet.each_good and done):
        raise ordered.refused(faults)
    return done, ordered.refused(faults) if faults else None


def _without_pictures(result: T, *, first: bool) -> T:
    """Return a result as it is kept until all rows are made: pictures of a thousand rows would fill the memory."""
    if first:
        return result
    if isinstance(result, _Built):
        return replace(result, made=_without_pictures(result.made, first=False))
    return replace(result, proof=ProofRecord(radios=()), player=PlayerRecord(radios=()))


def _as_one(made: list[MadeByHand], refused: Refused | None) -> MadeByHand:
    return replace(made[0], others=tuple(made[1:]), refused=refused)


@dataclass(frozen=True, slots=True)
class DropLook:
    """What would become of a drop, and the page that shows it."""

    outcome: MadeByHand | Refused
    page: str


def look(drop: Path, bench: Bench) -> DropLook:
    """Do as `check` does, and return a page too: the player and what was found, or why it would be refused.

    Of a fleet the page shows the first row that is right.
    """
    from keyturn.pages.sheet import Beside, sheet

    roots: list[Path] = []

    def work(job: Job, place: Path, own: Bench) -> Made:
        roots.append(job.found.root)
        return _checked(job, drop, place, own)

    with _opened(drop) as (folder, scratch):
        try:
            every, refused_rows = _each_job(drop, folder, scratch, bench, work)
        except Refused as refused:
            return DropLook(refused, _refused_page(drop, refused, bench))
        made = every[0]
        reasons = made.record.every_reason
        names = [exhibit.name for reason in reasons for exhibit in reason.exhibits]
        pictures = file_pictures(names, roots[0], bench.rules.intake, bench.crew)
        pictures |= exhibited(reasons, made.proof.radios)
    beside = Beside(player=lambda record, most: made.player, look=True, exhibits=pictures)
    cautions = bench.rules.safety.cautions.sheet
    page = sheet(made.record.customer, [(made.record, made.proof)], cautions, beside=beside, papers=bench.papers)
    return DropLook(_as_one([MadeByHand(each, None, None) for each in every], refused_rows), page)


def _refused_page(drop: Path, refused: Refused, bench: Bench) -> str:
    from keyturn.pages.rejects import rejected_html

    rejection = pipeline.rejection(refused, "check", drop_name(drop), bench)
    return rejected_html(rejection, bench.papers.letterhead, look=True)


def drop_name(drop: Path) -> str:
    """Return the name of the folder, or of the archive without its ending."""
    drop = drop.resolve()
    return without_ending(drop.name) if drop.is_file() else drop.name


@contextmanager
def _opened(drop: Path) -> Iterator[tuple[Path, Path]]:
    """Yield the drop's folder and a scratch folder. Of a zip, a copy in a folder of its own is used."""
    if not drop.exists():
        what = "there is no such file or folder"
        raise Refused([refuse("drop-missing", what, "name the folder of a drop, or its zip", file=str(drop))])
    with tempfile.TemporaryDirectory(prefix="keyturn-") as scratch_name:
        scratch = Path(scratch_name)
        if not drop.is_file():
            yield drop.resolve(), scratch
            return
        folder = scratch / "drop"
        folder.mkdir()
        shutil.copyfile(drop, folder / drop.name)
        yield folder, scratch


@contextmanager
def _staging(out: Path, job: Job) -> Iterator[tuple[Path, int]]:
    """Yield an empty folder to build the revision in, and its number, which no other process has."""
    staging, revision = _take_number(out, job)
    staging.chmod(0o755)
    try:
        yield staging, revision
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _take_number(out: Path, job: Job) -> tuple[Path, int]:
    """Take the job's next free number by making the folder that is named after it.

    Of several processes, one alone can make it (mkdir(2)). It is renamed to the revision's folder in one step; so
    while there is neither, nobody else has the number.
    """
    for revision in count(revision_numbers.next_number([out], job.customer_folder, job.job_folder)):
        staging = out / f".building-{job.customer_folder}--{job.job_folder}-r{revision}"
        try:
            staging.mkdir()
        except FileExistsError:
            continue
        if not os.path.lexists(_target(out, job, revision)):
            return staging, revision
        staging.rmdir()
    raise AssertionError("there is always a next number")


def _target(out: Path, job: Job, revision: int) -> Path:
    return out / job.customer_folder / f"{job.job_folder}-r{revision}"


def _write_sheet(out: Path, customer: str, bench: Bench) -> Path | None:
    """Write the customer's sheet. Write it again where another process published a revision while it was written."""
    while True:
        seen = set(revision_names(out / customer))
        written = sheets.write_sheet(out, customer, bench.rules, bench.papers)
        if set(revision_names(out / customer)) == seen:
            return written
