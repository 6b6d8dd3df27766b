"""The ledger is a view: quick to ask, safe to delete, never the truth."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from keyturn.ledger import Ledger
from keyturn.reasons import refuse
from keyturn.records import JobRecord, Rejection


def job(number: int) -> JobRecord:
    return JobRecord(
        keyturn="0", customer="C", job="van", artist=None, drop="van", claim=f"c{number}", digest="d",
        made_at=f"2026-03-01T09:{number:02d}:00+00:00", revision=number, radios=(),
    )  # fmt: skip


def rejection() -> Rejection:
    reasons = (refuse("no-art", "the drop holds no pictures", "add some"),)
    return Rejection(
        keyturn="0", drop="van", claim="c", customer=None, rejected_at="2026-03-01T09:00:00+00:00", reasons=reasons
    )


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    opened, fresh = Ledger.opened(tmp_path / "ledger.sqlite3")
    assert fresh
    return opened


def test_it_tells_the_newest_first_and_counts_all(ledger: Ledger) -> None:
    for number in (1, 3, 2):
        ledger.add_ready(f"c/van-r{number}", job(number))
    ledger.add_refused("rejects/van", "van", rejection())
    assert [r.revision for r in ledger.ready(most=2)] == [3, 2]
    assert ledger.counts() == (3, 1)
    assert ledger.refused()[0].reasons[0].code == "no-art"


def test_saying_the_same_twice_counts_once(ledger: Ledger) -> None:
    ledger.add_ready("c/van-r1", job(1))
    ledger.add_ready("c/van-r1", job(1))
    assert ledger.counts() == (1, 0)


def test_what_was_taken_away_is_forgotten(ledger: Ledger) -> None:
    ledger.add_ready("c/van-r1", job(1))
    ledger.add_refused("rejects/van", "van", rejection())
    ledger.drop_ready(["c/van-r1"])
    ledger.drop_refused(ledger.refused_paths())
    assert ledger.counts() == (0, 0)


def test_it_outlives_its_process(ledger: Ledger, tmp_path: Path) -> None:
    ledger.add_ready("c/van-r1", job(1))
    again, rebuild = Ledger.opened(tmp_path / "ledger.sqlite3")
    assert not rebuild
    assert again.ready_paths() == ("c/van-r1",)


@pytest.mark.parametrize("damage", [b"this is no database at all, not by a long way" * 30, b""])
def test_a_damaged_ledger_is_built_anew(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / "ledger.sqlite3").write_bytes(damage)
    ledger, rebuild = Ledger.opened(tmp_path / "ledger.sqlite3")
    assert rebuild
    assert ledger.counts() == (0, 0)


def test_another_versions_ledger_is_built_anew(ledger: Ledger, tmp_path: Path) -> None:
    ledger.add_ready("c/van-r1", job(1))
    db = sqlite3.connect(tmp_path / "ledger.sqlite3")
    db.execute("PRAGMA user_version = 99")
    db.close()
    again, rebuild = Ledger.opened(tmp_path / "ledger.sqlite3")
    assert rebuild
    assert again.counts() == (0, 0)


def test_its_writes_are_durable(ledger: Ledger, tmp_path: Path) -> None:
    """SQLite documentation, 'PRAGMA synchronous': WAL with FULL (2) is durable across a power loss."""
    with ledger._connection() as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)


def test_a_disk_fault_is_the_shops_and_not_a_drops(ledger: Ledger, tmp_path: Path) -> None:
    for path in tmp_path.glob("ledger.sqlite3*"):
        path.unlink()
    (tmp_path / "ledger.sqlite3").mkdir()
    with pytest.raises(OSError, match="ledger"):
        ledger.counts()
