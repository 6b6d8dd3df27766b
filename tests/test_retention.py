"""Archive and rejects are kept as long as the shop says; what is not settled is never touched."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from keyturn import retention
from keyturn.records import Rejection
from keyturn.settings import KeepSettings
from keyturn.shop import Shop

NOW = datetime(2026, 3, 31, 12, 0, tzinfo=UTC)


def archived(shop: Shop, days_ago: float, name: str) -> Path:
    claimed = NOW - timedelta(days=days_ago)
    folder = shop.archive / "c" / f"{name}-r1--{claimed:%Y%m%dT%H%M%S}-abc123-{name}"
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text("x")
    return folder


def refused(shop: Shop, days_ago: float, name: str) -> Path:
    folder = shop.rejects / name
    folder.mkdir()
    at = (NOW - timedelta(days=days_ago)).isoformat(timespec="seconds")
    record = Rejection(keyturn="0", drop=name, claim="c", customer=None, rejected_at=at, reasons=())
    (folder / "REJECTED.json").write_text(record.model_dump_json())
    return folder


def test_by_default_everything_is_kept(shop: Shop) -> None:
    kept = [archived(shop, 9999, "van"), refused(shop, 9999, "van")]
    assert retention.prune(shop, KeepSettings(), NOW) == []
    assert all(path.exists() for path in kept)


def test_what_was_kept_long_enough_goes(shop: Shop) -> None:
    old, new = archived(shop, 31, "old"), archived(shop, 29, "new")
    bad_old, bad_new = refused(shop, 8, "bad-old"), refused(shop, 6, "bad-new")
    assert retention.prune(shop, KeepSettings(archive_days=30, rejects_days=7), NOW) == [old, bad_old]
    assert new.exists() and bad_new.exists()


def test_folders_without_our_record_and_other_folders_are_not_ours_to_remove(shop: Shop) -> None:
    strangers = [shop.rejects / "someone-elses", shop.archive / "c" / "notes", shop.archive / "c" / "x--undated"]
    for folder in strangers:
        folder.mkdir(parents=True)
    for folder in (shop.inbox, shop.work, shop.outbox):
        (folder / "van").mkdir()
    retention.prune(shop, KeepSettings(archive_days=0.001, rejects_days=0.001), NOW)
    assert all(folder.exists() for folder in strangers)
    assert all((folder / "van").exists() for folder in (shop.inbox, shop.work, shop.outbox))


def test_a_removal_that_was_cut_off_is_finished(shop: Shop) -> None:
    (shop.rejects / ".keyturn-removing-van").mkdir()
    retention.prune(shop, KeepSettings(), NOW)
    assert list(shop.rejects.iterdir()) == []
