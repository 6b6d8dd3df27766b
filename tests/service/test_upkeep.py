"""Periodic work, by a clock that the test holds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from keyturn.outbox import retention
from keyturn.outbox.ledger import Ledger
from keyturn.service.clock_watch import SANE_AFTER_S, ClockRecord
from keyturn.service.upkeep import RECONCILE_EVERY_S, REMOVE_OLD_EVERY_S, Upkeep
from keyturn.shop.folders import Shop
from keyturn.shop.settings import KeepSettings
from samples import Clock


@pytest.fixture
def ledger(shop: Shop) -> Ledger:
    return Ledger.opened(shop.state / "ledger.sqlite3")[0]


@pytest.fixture
def upkeep(shop: Shop, ledger: Ledger, clock: Clock) -> Upkeep:
    """The wall clock runs evenly with `clock`, and has been seen to."""
    lay_record(shop, clock, SANE_AFTER_S)
    return Upkeep(shop, ledger, lambda: wall(clock), clock, lambda: None, clock)


def wall(clock: Clock) -> datetime:
    return datetime(2026, 3, 1, 9, 30, tzinfo=UTC) + timedelta(seconds=clock.at)


def lay_record(shop: Shop, clock: Clock, seen_s: float) -> None:
    record = ClockRecord(at=wall(clock).isoformat(), seen_s=seen_s)
    (shop.state / "clock.json").write_text(record.model_dump_json())


@pytest.fixture
def removals(monkeypatch: pytest.MonkeyPatch) -> list[KeepSettings]:
    """The settings of each call of `retention.prune`, which fails as a full disk would."""
    calls: list[KeepSettings] = []

    def prune(shop: Shop, keep: KeepSettings, *rest: object) -> None:
        calls.append(keep)
        raise OSError("Input/output error")

    monkeypatch.setattr(retention, "prune", prune)
    return calls


def test_old_drops_are_removed_at_the_start_and_every_hour_and_a_fault_stops_nothing(
    upkeep: Upkeep, clock: Clock, removals: list[KeepSettings]
) -> None:
    for _ in range(12):
        upkeep.remove_old_if_due(KeepSettings(archive_days=30))
        clock.at += REMOVE_OLD_EVERY_S / 4
    assert len(removals) == 3


def test_nothing_is_removed_before_the_clock_has_been_seen_to_be_sane_and_it_is_said(
    shop: Shop, ledger: Ledger, clock: Clock, removals: list[KeepSettings]
) -> None:
    ahead = timedelta(days=3)
    upkeep = Upkeep(shop, ledger, lambda: wall(clock) + ahead, clock, lambda: None, clock)
    keep = KeepSettings(archive_days=30)
    for hour in range(60):
        upkeep.remove_old_if_due(keep)
        assert removals == [] and "evenly for a day" in upkeep.removal_waits()
        if hour == 20:
            ahead = timedelta(0)  # a time service sets the clock right
        clock.at += 1800
    upkeep.remove_old_if_due(KeepSettings())
    assert upkeep.removal_waits() == "", "no limits are set, so nothing waits"
    for _ in range(12):
        upkeep.remove_old_if_due(keep)
        clock.at += 1800
    assert len(removals) > 1 and upkeep.removal_waits() == ""


def test_ledger_and_folders_are_reconciled_every_five_minutes_without_any_cause(upkeep: Upkeep, clock: Clock) -> None:
    done: list[float] = []
    for _ in range(8):
        clock.at += RECONCILE_EVERY_S / 4
        upkeep.reconcile_if_due(lambda: done.append(clock.at))
    assert done == [1000 + RECONCILE_EVERY_S, 1000 + 2 * RECONCILE_EVERY_S]


def test_they_are_reconciled_at_once_when_asked_or_when_the_ledger_was_lost(
    upkeep: Upkeep, ledger: Ledger, shop: Shop
) -> None:
    done: list[str] = []
    upkeep.reconcile_if_due(lambda: done.append("early"))
    upkeep.reconcile_soon()
    assert not upkeep.is_reconciled()
    upkeep.reconcile_if_due(lambda: done.append("asked"))
    assert upkeep.is_reconciled()
    for path in shop.state.glob("ledger*"):
        path.unlink()
    ledger.counts()
    upkeep.reconcile_if_due(lambda: done.append("lost"))
    upkeep.reconcile_if_due(lambda: done.append("again"))
    assert done == ["asked", "lost"]


def test_reconciling_that_failed_stays_due(upkeep: Upkeep) -> None:
    def fails() -> None:
        raise OSError("Input/output error")

    done: list[str] = []
    upkeep.reconcile_soon()
    with pytest.raises(OSError, match="Input"):
        upkeep.reconcile_if_due(fails)
    assert not upkeep.is_reconciled()
    upkeep.reconcile_if_due(lambda: done.append("again"))
    assert done == ["again"] and upkeep.is_reconciled()
