"""The ledger answers what was entered, can be deleted, and is read from disk only when it changed."""

from __future__ import annotations

import errno
import os
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from keyturn.outbox.ledger import Ledger
from keyturn.shop.reasons import refuse
from keyturn.shop.records import JobRecord, Rejection


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


def test_it_lists_the_newest_first_and_counts_all(ledger: Ledger) -> None:
    for number in (1, 3, 2):
        ledger.add_ready(f"c/van-r{number}", job(number))
    ledger.add_refused("rejects/van", "van", rejection())
    assert [r.revision for r in ledger.ready(most=2)] == [3, 2]
    assert ledger.counts() == (3, 1)
    assert ledger.refused()[0].reasons[0].code == "no-art"


def test_a_revision_entered_twice_counts_once(ledger: Ledger) -> None:
    ledger.add_ready("c/van-r1", job(1))
    ledger.add_ready("c/van-r1", job(1))
    assert ledger.counts() == (1, 0)


def test_what_was_dropped_is_no_longer_counted(ledger: Ledger) -> None:
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


def test_an_sqlite_error_becomes_an_oserror(ledger: Ledger, tmp_path: Path) -> None:
    for path in tmp_path.glob("ledger.sqlite3*"):
        path.unlink()
    (tmp_path / "ledger.sqlite3").mkdir()
    with pytest.raises(OSError, match="ledger"):
        ledger.counts()


# -- answers from memory ------------------------------------------------------------------------------------


@pytest.fixture
def connections(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    made: list[int] = []
    real = ledger._connected

    def counting() -> sqlite3.Connection:
        made.append(1)
        return real()

    monkeypatch.setattr(ledger, "_connected", counting)
    return made


def test_what_was_asked_before_is_answered_without_the_disk(ledger: Ledger, connections: list[int]) -> None:
    ledger.add_ready("c/van-r1", job(1))
    first = ledger.ready(), ledger.refused(), ledger.counts()
    before = len(connections)
    assert (ledger.ready(), ledger.refused(), ledger.counts()) == first
    assert len(connections) == before


def test_each_question_has_its_own_answer(ledger: Ledger) -> None:
    for number in (1, 2, 3):
        ledger.add_ready(f"c/van-r{number}", job(number))
    assert [len(ledger.ready(most)) for most in (1, 2, 9, 1)] == [1, 2, 3, 1]


def test_what_is_written_is_in_the_next_answer(ledger: Ledger) -> None:
    for number in (1, 2, 3):
        ledger.add_ready(f"c/van-r{number}", job(number))
        assert ledger.counts() == (number, 0)
    ledger.add_refused("rejects/van", "van", rejection())
    assert len(ledger.refused()) == 1
    ledger.drop_ready(["c/van-r1"])
    ledger.drop_refused(["rejects/van"])
    assert (ledger.counts(), ledger.refused()) == ((2, 0), ())


def test_what_another_program_writes_is_in_the_next_answer(ledger: Ledger, tmp_path: Path) -> None:
    """The other program is SQLite's own library: the ledger is an ordinary database."""
    ledger.add_ready("c/van-r1", job(1))
    assert ledger.counts() == (1, 0)
    db = sqlite3.connect(tmp_path / "ledger.sqlite3")
    with db:
        db.execute("DELETE FROM ready")
    db.close()
    assert (ledger.counts(), ledger.ready()) == ((0, 0), ())


def test_deleted_while_in_use_it_begins_anew_and_says_so_once(ledger: Ledger, tmp_path: Path) -> None:
    ledger.add_ready("c/van-r1", job(1))
    assert (ledger.counts(), ledger.was_lost()) == ((1, 0), False)
    for path in tmp_path.glob("ledger.sqlite3*"):
        path.unlink()
    assert (ledger.counts(), ledger.was_lost(), ledger.was_lost()) == ((0, 0), True, False)
    ledger.add_ready("c/van-r2", job(2))
    assert ledger.ready_paths() == ("c/van-r2",)


def test_many_are_added_at_once_or_none(ledger: Ledger) -> None:
    ledger.add_all_ready([(f"c/van-r{number}", job(number)) for number in (1, 2)])
    assert ledger.counts() == (2, 0)

    def half() -> Iterator[tuple[str, JobRecord]]:
        yield "c/van-r3", job(3)
        raise OSError("half")

    with pytest.raises(OSError, match="half"):
        ledger.add_all_ready(half())
    assert ledger.counts() == (2, 0)


@pytest.mark.parametrize(("table", "time"), [("ready", "made_at"), ("refused", "rejected_at")])
def test_the_newest_are_found_by_an_index(ledger: Ledger, table: str, time: str) -> None:
    """SQLite documentation, 'EXPLAIN QUERY PLAN': "USE TEMP B-TREE FOR ORDER BY" means that all rows are sorted.

    With the index only rows with the same time are.
    """
    with ledger._connection() as db:
        query = f"EXPLAIN QUERY PLAN SELECT * FROM {table} ORDER BY {time} DESC, path LIMIT 100"
        plan = " ".join(str(row[-1]) for row in db.execute(query))
    assert f"USING INDEX {table}_by_time" in plan
    assert "TEMP B-TREE FOR ORDER BY" not in plan


@pytest.mark.parametrize(
    ("seen", "number"),
    [({"f_flag": os.ST_RDONLY}, errno.EROFS), ({"f_bavail": 0}, errno.ENOSPC), ({}, errno.EIO)],
    ids=["read-only", "full", "broken"],
)
def test_a_full_or_read_only_disk_is_not_called_broken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seen: dict[str, int], number: int
) -> None:
    """SQLite says "disk I/O error" or "unable to open database file" to all three (sqlite.org, Result Codes)."""
    (tmp_path / "ledger.sqlite3").mkdir()
    disk = {"f_flag": 0, "f_frsize": 4096, "f_bavail": 1000, "f_files": 0, "f_favail": 0} | seen
    monkeypatch.setattr(os, "statvfs", lambda folder: SimpleNamespace(**disk))
    with pytest.raises(OSError, match=re.escape(str(tmp_path / "ledger.sqlite3"))) as told:
        Ledger(tmp_path / "ledger.sqlite3").counts()
    assert told.value.errno == number
