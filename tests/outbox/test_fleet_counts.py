"""The jobs of a fleet are counted alike from the ledger and from the folders; SQLite itself is the judge."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from keyturn.outbox.fleet_counts import fleets, fleets_of
from keyturn.outbox.ledger import Ledger
from keyturn.shop.records import JobRecord
from keyturn.shop.state_records import PlacedJob, Ready


def record(job: str, row: int, claim: str, revision: int = 1, day: int = 1) -> JobRecord:
    return JobRecord(
        keyturn="0", customer="Fern", job=job, artist=None, drop="vans", claim=claim, digest="d", radios=(),
        made_at=f"2026-03-0{day}T09:30:00+00:00", revision=revision, row=row,
    )  # fmt: skip


MADE = {
    "fern/one-r1": record("one", 2, "a"),
    "fern/two-r1": record("two", 3, "a"),
    "fern/alone-r1": record("alone", 0, "c"),
    "fern/one-r2": record("one", 2, "b", 2, day=2),
}


def test_revisions_are_counted_by_their_fleet_the_newest_first(tmp_path: Path) -> None:
    ledger, _ = Ledger.opened(tmp_path / "ledger.sqlite3")
    ledger.add_all_ready(MADE.items())
    counted = fleets(ledger, ())
    assert [(fleet.drop, fleet.claim, fleet.jobs) for fleet in counted] == [("vans", "b", 1), ("vans", "a", 2)]
    with closing(sqlite3.connect(tmp_path / "ledger.sqlite3")) as db:
        asked = db.execute("SELECT claim, count(*) FROM ready WHERE row > 0 GROUP BY claim ORDER BY claim DESC")
        assert asked.fetchall() == [(fleet.claim, fleet.jobs) for fleet in counted]
    assert fleets_of(ledger.ready(), ()) == counted


def test_where_the_jobs_stand_is_counted_too(tmp_path: Path) -> None:
    ledger, _ = Ledger.opened(tmp_path / "ledger.sqlite3")
    ledger.add_all_ready(MADE.items())
    rows: dict[str, Ready] = {row.path: row for row in ledger.ready()}
    told = {"fern/one-r2": "fit", "fern/two-r1": "stick", "fern/alone-r1": "stick"}
    jobs = [PlacedJob(**rows[path].model_dump(), place=place, since="") for path, place in told.items()]  # type: ignore[arg-type]
    assert [(fleet.claim, fleet.places) for fleet in fleets(ledger, jobs)] == [("b", {"fit": 1}), ("a", {"stick": 1})]
