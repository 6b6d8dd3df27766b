"""Make one drop without a shop, through the same pipeline as the service: for `keyturn make` and `keyturn check`."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from keyturn import pipeline
from keyturn.inbox.moving import move
from keyturn.outbox import revision_numbers, sheets
from keyturn.outbox.customer_folder import revision_names
from keyturn.package.refused_pictures import exhibited, file_pictures
from keyturn.pages.rejects import rejected_html
from keyturn.pages.sheet import Beside, sheet
from keyturn.pipeline import Bench, Job, Made
from keyturn.shop import durable_files
from keyturn.shop.file_names import without_ending
from keyturn.shop.reasons import Refused, refuse


@dataclass(frozen=True, slots=True)
class MadeByHand:
    """What was made, the revision's folder and the customer's sheet. Both are None where nothing is kept."""

    made: Made
    folder: Path | None
    sheet: Path | None


def make(drop: Path, out: Path, bench: Bench) -> MadeByHand:
    """Make `drop` into out/<customer>/<job>-rN. Raise `Refused` where it cannot be made, and leave no half of it."""
    out.mkdir(parents=True, exist_ok=True)
    with _opened(drop) as (folder, scratch):
        job = pipeline.understand(folder, drop_name(drop), scratch, bench)
        with _staging(out, job) as (staging, revision):
            made = pipeline.make(job, f"by-hand-{drop.name}", drop.name, revision, staging, scratch, bench)
            durable_files.fsync_tree(staging)
            target = _target(out, job, revision)
            target.parent.mkdir(exist_ok=True)
            move(staging, target)
        return MadeByHand(made, target, _write_sheet(out, job.customer_folder, bench))


def check(drop: Path, bench: Bench) -> MadeByHand:
    """Make `drop` as `make` does, and keep nothing. The result has every reason that the shop would find."""
    with _opened(drop) as (folder, scratch), tempfile.TemporaryDirectory(prefix="keyturn-") as staging:
        job = pipeline.understand(folder, drop_name(drop), scratch, bench)
        made = pipeline.make(job, "check", drop.name, 1, Path(staging), scratch, bench)
        return MadeByHand(made, None, None)


@dataclass(frozen=True, slots=True)
class DropLook:
    """What would become of a drop, and the page that shows it."""

    outcome: MadeByHand | Refused
    page: str


def look(drop: Path, bench: Bench) -> DropLook:
    """Do as `check` does, and return a page too: the player and what was found, or why it would be refused."""
    with _opened(drop) as (folder, scratch), tempfile.TemporaryDirectory(prefix="keyturn-") as staging:
        try:
            job = pipeline.understand(folder, drop_name(drop), scratch, bench)
            made = pipeline.make(job, "check", drop.name, 1, Path(staging), scratch, bench)
        except Refused as refused:
            return DropLook(refused, _refused_page(drop, refused, bench))
        reasons = made.record.every_reason
        names = [exhibit.name for reason in reasons for exhibit in reason.exhibits]
        pictures = file_pictures(names, job.found.root, bench.rules.intake, bench.crew)
        pictures |= exhibited(reasons, made.proof.radios)
    beside = Beside(player=lambda record, most: made.player, look=True, exhibits=pictures)
    cautions = bench.rules.safety.cautions.sheet
    page = sheet(made.record.customer, [(made.record, made.proof)], cautions, beside=beside, papers=bench.papers)
    return DropLook(MadeByHand(made, None, None), page)


def _refused_page(drop: Path, refused: Refused, bench: Bench) -> str:
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
    """Write the customer's sheet, and again where another process has put a revision beside ours meanwhile."""
    while True:
        seen = set(revision_names(out / customer))
        written = sheets.write_sheet(out, customer, bench.rules, bench.papers)
        if set(revision_names(out / customer)) == seen:
            return written
