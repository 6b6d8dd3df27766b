"""Builds the revisions of a fleet, one for each row. Nothing is published before every row is built or refused."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from keyturn import pipeline
from keyturn.outbox import revision_numbers
from keyturn.pipeline import Bench
from keyturn.pipeline.fleet import FleetJobs, RightRow
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused
from keyturn.shop.records import Rejection

Pages = dict[str, str]
"""Of a rejection: the text of each page by its name."""

MOST_FAULTY = 40
"""Where nothing is to be made of a fleet with faulty rows, so many that fail while they are made are enough."""


@dataclass(frozen=True, slots=True)
class BuiltFleet:
    """The built revisions by their targets in the outbox, and what becomes of the other rows.

    `refused` is their refusal, `root` the artist's folder, and `table` the table's name in it and those rows alone.
    """

    revisions: Mapping[str, Path]
    root: Path
    refused: Refused | None = None
    table: tuple[str, bytes] = ("", b"")


def built(jobs: FleetJobs, claim: Claim, folders: DropFolders, scratch: Path, bench: Bench) -> BuiltFleet:
    """Build a revision for each row that is not published yet, in folders of its own.

    Raise `Refused` with every faulty row where the right ones are not to be made alone, or none is right.
    """
    done = _jobs_of(folders.published(claim))
    staging = folders.staging(claim)
    faults, revisions = dict(jobs.faults), dict[str, Path]()
    for row in jobs.rows:
        if (row.customer_folder, row.job_folder) in done:
            continue
        place = staging / f"row-{row.number}"
        number = _next_number(folders.shop, row)
        try:
            _build(jobs, row, claim, number, place, scratch, bench.for_next_job())
        except Refused as refused:
            faults[row.number] = refused.reasons
            shutil.rmtree(place)
        else:
            revisions[f"{row.customer_folder}/{row.job_folder}-r{number}"] = place
        if not jobs.fleet.each_good and len(faults) >= MOST_FAULTY:
            break
    if faults and not done and not (jobs.fleet.each_good and revisions):
        raise jobs.refused(faults)
    root, table = jobs.opened.found.root, jobs.fleet.table
    if not faults:
        return BuiltFleet(revisions, root)
    return BuiltFleet(revisions, root, jobs.refused(faults), (table.file, table.only(faults)))


def lay_rest(made: BuiltFleet, claim: Claim, folders: DropFolders, rejection: Rejection, pages: Pages) -> str:
    """Lay the rows that are refused ready for rejects, as a drop of their own. Return its name there."""
    name, rows = made.table
    return folders.lay_rest(claim, made.root, {name: rows} if name else {}, rejection, pages)


def _jobs_of(targets: Sequence[str]) -> set[tuple[str, str]]:
    parted = (target.partition("/") for target in targets)
    return {(customer, named[0]) for customer, _, name in parted if (named := revision_numbers.job_and_number(name))}


def _next_number(shop: Shop, row: RightRow) -> int:
    known = (shop.outbox, shop.archive, shop.numbers)
    return revision_numbers.next_number(known, row.customer_folder, row.job_folder)


def _build(jobs: FleetJobs, row: RightRow, claim: Claim, number: int, place: Path, scratch: Path, bench: Bench) -> None:
    own = scratch / f"row-{row.number}"
    for folder in (place, own):
        folder.mkdir()
    job = jobs.job(row, own, bench)
    pipeline.make(job, claim.id, claim.name, number, place, own, bench)
    shutil.rmtree(own)
