"""The ledger's tables, and what their rows are as records."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from contextlib import closing
from dataclasses import astuple, dataclass
from typing import Any, Generic, NamedTuple, TypeVar

from keyturn.outbox.revision_numbers import job_and_number
from keyturn.shop.reasons import Reason
from keyturn.shop.records import JobRecord
from keyturn.shop.state_records import FleetCount, Place, PlaceCounts, PlacedJob, Ready, RefusedDrop, VehicleLine

_SCHEMA = """
CREATE TABLE IF NOT EXISTS ready (
    path TEXT PRIMARY KEY, claim TEXT NOT NULL, customer TEXT NOT NULL, job TEXT NOT NULL,
    revision INTEGER NOT NULL, radios TEXT NOT NULL, digest TEXT NOT NULL, made_at TEXT NOT NULL,
    picture TEXT NOT NULL, vehicles TEXT NOT NULL, drop_name TEXT NOT NULL, row INTEGER NOT NULL,
    job_path TEXT NOT NULL, number INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS standing (
    path TEXT PRIMARY KEY, place TEXT NOT NULL, since TEXT NOT NULL, said TEXT NOT NULL,
    asked INTEGER NOT NULL, followed INTEGER NOT NULL, lines TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS refused (
    path TEXT PRIMARY KEY, claim TEXT NOT NULL, name TEXT NOT NULL, customer TEXT,
    rejected_at TEXT NOT NULL, reasons TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS ready_by_time ON ready (made_at);
CREATE INDEX IF NOT EXISTS ready_by_job ON ready (job_path, number);
CREATE INDEX IF NOT EXISTS refused_by_time ON refused (rejected_at);
"""
VERSION = 4

ADD_READY = "INSERT OR REPLACE INTO ready VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
ADD_REFUSED = "INSERT OR REPLACE INTO refused VALUES (?, ?, ?, ?, ?, ?)"
ADD_STANDING = "INSERT INTO standing VALUES (?, ?, ?, ?, ?, ?, ?)"

OF_READY = "customer, job, revision, radios, path, made_at, picture, vehicles, claim, drop_name, row"
OF_STANDING = "place, since, said, asked, followed, lines"

_NEWEST = """
SELECT customer, job, revision, radios, path, made_at, picture, vehicles, claim, drop_name, row,
    coalesce(nullif(place, ''), :unsaid) AS stands, coalesce(since, made_at) AS since, coalesce(said, '') AS said,
    coalesce(lines, '') AS lines,
    CASE WHEN place = 'fitted' AND since < :fitted_since THEN 'fitted_earlier'
         WHEN place IS NULL AND made_at < :made_since THEN 'quiet' ELSE '' END AS left_out
FROM ready LEFT JOIN standing USING (path)
WHERE number = (SELECT max(number) FROM ready AS other WHERE other.job_path = ready.job_path)
"""
_LISTED = f"SELECT * FROM ({_NEWEST}) WHERE left_out = '' ORDER BY since, path"
_COUNTED = f"SELECT iif(left_out = '', stands, left_out), count(*) FROM ({_NEWEST}) GROUP BY 1"

FLEETS = """
SELECT drop_name, claim, count(*), max(made_at) FROM ready WHERE row > 0 GROUP BY claim ORDER BY 4 DESC, claim LIMIT ?
"""

Row = tuple[Any, ...]
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a revision has come: its place, empty where only something was shown or part of it is done, since when,
    and in plain words who said so.

    `asked`: the shop asks its customers. `followed`: somebody follows the jobs, for `keyturn copy` notes by itself.
    `lines` are those of its vehicles as JSON, empty for a job without.
    """

    place: str
    since: str
    said: str
    asked: int
    followed: int
    lines: str = ""


class MadeFor(NamedTuple):
    """The radios and vehicles of a revision. Without vehicles, the job does not say which it is for."""

    radios: tuple[str, ...]
    vehicles: tuple[str, ...] = ()


class SameRows(Generic[R]):
    """Turns rows into records. A row that was there the last time gives the same object: pages are kept by objects."""

    def __init__(self, make: Callable[[Row], R]) -> None:
        self._make, self._known = make, dict[Row, R]()

    def of(self, rows: Iterable[Row]) -> tuple[R, ...]:
        """Return the record of each row. The rows are all different."""
        known = self._known
        self._known = {row: known[row] if row in known else self._make(row) for row in rows}
        return tuple(self._known.values())


def create_tables(db: sqlite3.Connection) -> None:
    """Make the tables that are missing."""
    db.executescript(_SCHEMA)
    db.execute(f"PRAGMA user_version = {VERSION}")


def jobs(
    db: sqlite3.Connection, wanted: tuple[Place, str, str], rows: SameRows[PlacedJob]
) -> tuple[tuple[PlacedJob, ...], PlaceCounts]:
    """Return what `Ledger.jobs` does; `wanted` are its arguments."""
    when = dict(zip(("unsaid", "fitted_since", "made_since"), wanted, strict=True))
    return rows.of(db.execute(_LISTED, when)), PlaceCounts(**dict(db.execute(_COUNTED, when).fetchall()))


def jobs_of(
    made: Mapping[str, JobRecord], said: Mapping[str, Standing], wanted: tuple[Place, str, str]
) -> tuple[tuple[PlacedJob, ...], PlaceCounts]:
    """Return what `Ledger.jobs` does, of revisions that no ledger holds."""
    with closing(sqlite3.connect(":memory:")) as db:
        create_tables(db)
        db.executemany(ADD_READY, [ready_row(path, record) for path, record in made.items()])
        db.executemany(ADD_STANDING, [(path, *standing_row(standing)) for path, standing in said.items()])
        return jobs(db, wanted, SameRows(placed_job))


def ready_row(path: str, record: JobRecord) -> Row:
    """Return the row of a published revision; `path` is relative to the outbox."""
    radios, vehicles = json.dumps([r.radio for r in record.radios]), json.dumps(record.vehicles)
    made = record.claim, record.customer, record.job, record.revision, radios, record.digest, record.made_at
    customer, _, name = path.partition("/")
    job, number = job_and_number(name) or (name, record.revision)
    return path, *made, record.picture, vehicles, record.drop, record.row, f"{customer}/{job}", number


def standing_row(standing: Standing) -> Row:
    """Return the row of a standing, without its path."""
    return astuple(standing)


def ready(row: Row) -> Ready:
    """Return the revision that the row of `OF_READY` tells of."""
    customer, job, revision, radios, path, made_at, picture, vehicles, claim, drop, number = row
    told = {"customer": customer, "job": job, "revision": revision, "path": path, "made_at": made_at}
    made_from = {"claim": claim, "drop": drop, "row": number}
    lists = {"radios": tuple(json.loads(radios)), "vehicles": tuple(json.loads(vehicles))}
    return Ready(**told, **made_from, **lists, picture=picture)


def fleet(row: Row) -> FleetCount:
    """Return the fleet that the row of `FLEETS` tells of."""
    drop, claim, jobs, made_at = row
    return FleetCount(drop=drop, claim=claim, jobs=jobs, made_at=made_at)


def placed_job(row: Row) -> PlacedJob:
    """Return the job that the row tells of."""
    *of_ready, place, since, said, told, _ = row
    made = ready(tuple(of_ready))
    lines = vehicle_lines(told) or tuple(VehicleLine(name=name) for name in made.vehicles)
    return PlacedJob(**made.model_dump(), place=place, since=since, said=said, lines=lines)


def lines_text(lines: Iterable[VehicleLine]) -> str:
    """Return the lines as `Standing` has them."""
    shown = [line.model_dump(mode="json") for line in lines]
    return json.dumps(shown, ensure_ascii=False) if shown else ""


def vehicle_lines(text: str) -> tuple[VehicleLine, ...]:
    """Return the lines that `lines_text` wrote."""
    return tuple(VehicleLine.model_validate(line) for line in json.loads(text)) if text else ()


def refused(row: Row) -> RefusedDrop:
    """Return the refused drop that the row tells of."""
    name, customer, path, rejected_at, reasons_json = row
    reasons = tuple(Reason.model_validate(reason) for reason in json.loads(reasons_json))
    return RefusedDrop(name=name, customer=customer, path=path, rejected_at=rejected_at, reasons=reasons)
