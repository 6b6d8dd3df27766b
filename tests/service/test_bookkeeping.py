"""The ledger and the sheets follow the folders, whatever people do to those by hand."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand, slip_entry
from keyturn.outbox import record_files, revision_life
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection
from samples import Drop

FERN = "fern-hollow-mobile-library"


@pytest.fixture
def books(shop: Shop, bench: Bench) -> Bookkeeping:
    return Bookkeeping(shop, Ledger.opened(shop.state / "ledger.sqlite3")[0], bench.rules)


@pytest.fixture
def made(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """A revision in the outbox that the ledger has not heard of, without the customer's sheet."""
    folder = make_by_hand.make(drop(), shop.outbox, bench).folder
    assert folder is not None
    (folder.parent / "proof.html").unlink()
    return folder


def ready(books: Bookkeeping) -> list[str]:
    return [found.path for found in books.ledger.ready()]


def lay_rejected(shop: Shop, name: str) -> Path:
    folder = shop.rejects / name
    folder.mkdir()
    reason = refuse("no-art", "the drop holds no pictures", "add numbered pictures")
    record = Rejection(keyturn="0", drop=name, claim="c", customer=None, rejected_at="2026-03-01", reasons=(reason,))
    (folder / "REJECTED.json").write_text(record.model_dump_json(), encoding="utf-8")
    return folder


def test_a_revision_that_the_ledger_does_not_know_is_entered_and_its_sheet_written(
    books: Bookkeeping, shop: Shop, made: Path
) -> None:
    books.reconcile()
    assert ready(books) == [f"{FERN}/{made.name}"]
    assert (shop.outbox / FERN / "proof.html").exists()


def test_a_revision_taken_away_by_hand_is_taken_out_of_the_ledger(books: Bookkeeping, made: Path) -> None:
    books.reconcile()
    shutil.rmtree(made)
    books.reconcile()
    assert ready(books) == []


def test_refused_drops_are_entered_and_those_taken_away_are_taken_out(books: Bookkeeping, shop: Shop) -> None:
    folder = lay_rejected(shop, "van")
    lay_rejected(shop, "van-2")
    books.reconcile()
    assert sorted(refused.name for refused in books.ledger.refused()) == ["van", "van-2"]
    shutil.rmtree(folder)
    books.reconcile()
    assert [refused.name for refused in books.ledger.refused()] == ["van-2"]


def test_it_can_be_done_again_and_changes_nothing(books: Bookkeeping, shop: Shop, made: Path) -> None:
    lay_rejected(shop, "van")
    books.reconcile()
    before = books.ledger.ready(), books.ledger.refused()
    books.reconcile()
    assert (books.ledger.ready(), books.ledger.refused()) == before


def test_each_refused_drop_and_each_customer_shows_life_first(shop: Shop, books: Bookkeeping, made: Path) -> None:
    """A large shop whose ledger was lost takes minutes; the service must not look dead meanwhile."""
    for number in range(3):
        lay_rejected(shop, f"van-{number}")
    signs: list[int] = []
    books.reconcile(lambda: signs.append(len(books.ledger.refused_paths())))
    assert signs == [0, 0, 1, 2, 3]
    signs.clear()
    books.reconcile(lambda: signs.append(0))
    assert len(signs) == 1, "nothing is left to enter"


def test_what_is_only_being_built_is_not_entered(shop: Shop, books: Bookkeeping, made: Path) -> None:
    shop.building.mkdir()
    shutil.copytree(made, shop.building / "20260301T093000-abc123-van-r2")
    books.reconcile()
    assert ready(books) == [f"{FERN}/van-r1"]


def test_what_was_said_of_a_revision_is_followed_by_its_slip_and_by_reconciling(
    shop: Shop, books: Bookkeeping, made: Path
) -> None:
    books.reconcile()
    job = record_files.read_job(made)
    assert job is not None
    slip = slip_entry.slip_for("answer", made, job, answer="yes")
    revision_life.enter(made, slip)
    books.enter_slip(slip.path)
    assert [(path, found.place) for path, found in books.ledger.standings().items()] == [(slip.path, "stick")]
    (made / "answer.json").unlink()
    books.reconcile()
    assert not books.ledger.standings()
    revision_life.enter(made, slip)
    for file in shop.state.glob("ledger*"):
        file.unlink()
    books.reconcile()
    assert books.ledger.standings().keys() == {slip.path}
