"""Ledger and sheets follow the folders, whatever people put there or take away."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.outbox import sheets
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection
from keyturn.shop.rulebook import Rulebook
from samples import Drop

FERN = "fern-hollow-mobile-library"


@pytest.fixture
def ledger(shop: Shop) -> Ledger:
    return Ledger.opened(shop.state / "ledger.sqlite3")[0]


@pytest.fixture
def books(shop: Shop, ledger: Ledger, rules: Rulebook) -> Bookkeeping:
    return Bookkeeping(shop, ledger, rules)


@pytest.fixture
def revisions(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """outbox/fern-hollow-mobile-library with two revisions that the ledger does not know, and no sheet."""
    for name in ("van", "ferry"):
        make_by_hand.make(drop(name, frames=1), shop.outbox, bench)
    (shop.outbox / FERN / "proof.html").unlink()
    return shop.outbox / FERN


def refuse_drop(shop: Shop, name: str) -> Path:
    """Put a refused drop in rejects."""
    reasons = (refuse("no-art", "the drop holds no pictures", "add some"),)
    at = "2026-03-01T09:30:00+00:00"
    record = Rejection(keyturn="0", drop=name, claim="c", customer=None, rejected_at=at, reasons=reasons)
    (shop.rejects / name).mkdir()
    (shop.rejects / name / "REJECTED.json").write_text(record.model_dump_json())
    return shop.rejects / name


def test_unknown_revisions_are_entered_with_one_sheet_a_customer(
    books: Bookkeeping, ledger: Ledger, revisions: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[str] = []
    real = sheets.write_sheet

    def counting(outbox: Path, customer: str, rules: Rulebook) -> Path | None:
        written.append(customer)
        return real(outbox, customer, rules)

    monkeypatch.setattr(sheets, "write_sheet", counting)
    signs: list[str] = []
    books.reconcile(lambda: signs.append("alive"))
    assert sorted(ledger.ready_paths()) == [f"{FERN}/ferry-r1", f"{FERN}/van-r1"]
    assert (revisions / "proof.html").is_file()
    assert written == [FERN] and signs == ["alive"]
    books.reconcile()
    assert written == [FERN], "nothing is done twice"


def test_revisions_that_are_gone_are_forgotten_and_those_with_a_spoilt_record_are_not(
    books: Bookkeeping, ledger: Ledger, revisions: Path
) -> None:
    books.reconcile()
    shutil.rmtree(revisions / "van-r1")
    (revisions / "ferry-r1" / "job.json").write_bytes(b"{")
    books.reconcile()
    assert ledger.ready_paths() == (f"{FERN}/ferry-r1",)


def test_rejects_are_entered_and_forgotten_as_they_come_and_go(books: Bookkeeping, ledger: Ledger, shop: Shop) -> None:
    for name in ("van", "ferry"):
        refuse_drop(shop, name)
    (shop.rejects / "someone-elses").mkdir()
    books.reconcile()
    assert sorted(ledger.refused_paths()) == ["rejects/ferry", "rejects/van"]
    (shop.rejects / "van").rename(shop.inbox / "van")
    books.reconcile()
    assert ledger.refused_paths() == ("rejects/ferry",)
