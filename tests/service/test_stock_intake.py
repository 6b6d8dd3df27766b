"""Stock files in the inbox are kept as the way back: once, untouched, and every later card says where they are."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from loguru import logger

from keyturn.outbox import published_digests, restore_folders, retention
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Reason
from keyturn.shop.records import Rejection
from keyturn.shop.settings import KeepSettings
from page_text import text_of
from samples import Drop
from shop_runs import lay, rejected, revisions, run_until_quiet
from stock_samples import stock_drop

TARGET = "fern-hollow-mobile-library/restore-tiny"


def archived(shop: Shop) -> list[Path]:
    return sorted(path for path in shop.archive.glob("*/*") if path.is_dir())


def reasons(shop: Shop, name: str) -> tuple[Reason, ...]:
    return Rejection.model_validate_json((shop.rejects / name / "REJECTED.json").read_bytes()).reasons


def test_stock_files_are_kept_untouched_with_digests_and_a_text(shop: Shop, tmp_path: Path) -> None:
    drop = stock_drop(tmp_path / "stock")
    lay(drop, shop)
    run_until_quiet(shop)
    folder = shop.outbox / TARGET
    assert sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()) == [
        "INSTALL.txt",
        "SHA256SUMS",
        "restore.json",
        "usb/bootanimation.zip",
        "usb/logo.png",
    ]
    assert (folder / "usb" / "bootanimation.zip").read_bytes() == (drop / "bootanimation.zip").read_bytes()
    assert (folder / "usb" / "logo.png").read_bytes() == (drop / "stock-logo.png").read_bytes()
    record = restore_folders.read(folder)
    assert record and (record.customer, record.radio) == ("Fern Hollow Mobile Library", "tiny")
    (kept,) = archived(shop)
    assert kept.name.startswith("restore-tiny--")
    assert {p.name: p.read_bytes() for p in kept.iterdir()} == {p.name: p.read_bytes() for p in drop.iterdir()}
    assert not revisions(shop) and not rejected(shop) and not list(shop.work.iterdir())
    assert published_digests.recorded(shop.published, TARGET) == published_digests.digest_of(folder)


@pytest.mark.system
def test_the_digests_are_those_of_sha256sum(shop: Shop, tmp_path: Path, needs: Callable[[str], str]) -> None:
    """GNU coreutils checks the files by the list as it lies beside them."""
    lay(stock_drop(tmp_path / "stock"), shop)
    run_until_quiet(shop)
    check = [needs("sha256sum"), "--check", "--strict", "SHA256SUMS"]
    said = subprocess.run(check, cwd=shop.outbox / TARGET, capture_output=True, text=True, check=True)
    assert said.stdout.splitlines() == ["usb/bootanimation.zip: OK", "usb/logo.png: OK"]


def test_the_same_files_again_are_said_to_be_there_and_archived(shop: Shop, tmp_path: Path) -> None:
    drop = stock_drop(tmp_path / "stock")
    said: list[str] = []
    logger.add(said.append, format="{message}")
    for name in ("stock", "again"):
        lay(drop, shop, name)
        run_until_quiet(shop)
    assert f"again: the same stock files are kept already in outbox/{TARGET}\n" in said
    assert len(archived(shop)) == 2 and not rejected(shop)
    record = restore_folders.read(shop.outbox / TARGET)
    assert record and record.drop == "stock", "what is kept is never written again"


def test_other_stock_files_are_refused_and_the_kept_ones_named(shop: Shop, tmp_path: Path) -> None:
    lay(stock_drop(tmp_path / "stock"), shop)
    run_until_quiet(shop)
    before = {p: p.read_bytes() for p in (shop.outbox / TARGET).rglob("*") if p.is_file()}
    lay(stock_drop(tmp_path / "other", seed=2), shop)
    run_until_quiet(shop)
    assert rejected(shop) == ["other"]
    (reason,) = reasons(shop, "other")
    assert reason.code == "stock-differs"
    assert f"outbox/{TARGET}" in reason.what and "logo.png differs" in reason.what and "move" in reason.mend
    assert {p: p.read_bytes() for p in (shop.outbox / TARGET).rglob("*") if p.is_file()} == before


def test_files_that_were_changed_in_the_outbox_are_not_taken_for_the_kept_ones(shop: Shop, tmp_path: Path) -> None:
    drop = stock_drop(tmp_path / "stock")
    lay(drop, shop)
    run_until_quiet(shop)
    spoilt = shop.outbox / TARGET / "usb" / "logo.png"
    spoilt.chmod(0o640)
    spoilt.write_bytes(b"painted over")
    lay(drop, shop, "again")
    run_until_quiet(shop)
    assert rejected(shop) == ["again"] and reasons(shop, "again")[0].code == "stock-differs"


def test_once_the_folder_is_moved_away_others_are_kept(shop: Shop, tmp_path: Path) -> None:
    for number, name in enumerate(("stock", "right")):
        lay(stock_drop(tmp_path / name, seed=number), shop)
        run_until_quiet(shop)
        assert not rejected(shop)
        shutil.move(shop.outbox / TARGET, tmp_path / f"away-{number}")


def test_every_later_card_of_that_customer_and_radio_points_to_it(shop: Shop, drop: Drop, tmp_path: Path) -> None:
    other = 'customer = "Lantern Row"\nradio = "tiny"\n'
    lay(drop("before", frames=2), shop)
    run_until_quiet(shop)
    lay(stock_drop(tmp_path / "stock"), shop)
    run_until_quiet(shop)
    lay(drop("van", frames=2), shop)
    lay(drop("bus", frames=2, manifest=other), shop)
    run_until_quiet(shop)
    cards = {path.parent.name: text_of(path.read_text(encoding="utf-8")) for path in shop.outbox.glob("*/*/card.html")}
    points = {name for name, text in cards.items() if f"keyturn copy {TARGET}" in text}
    assert set(cards) == {"before-r1", "van-r1", "bus-r1"} and points == {"van-r1"}
    job = json.loads((shop.outbox / "fern-hollow-mobile-library" / "van-r1" / "job.json").read_bytes())
    assert job["restores"] == {"tiny": TARGET}


def test_retention_never_removes_them(shop: Shop, tmp_path: Path) -> None:
    lay(stock_drop(tmp_path / "stock"), shop)
    run_until_quiet(shop)
    (kept,) = archived(shop)
    later = datetime.now(UTC) + timedelta(days=4000)
    assert retention.prune(shop, KeepSettings(archive_days=1, rejects_days=1, archive_gib=1e-9), later) == []
    assert kept.is_dir() and (shop.outbox / TARGET / "usb" / "logo.png").is_file()


def test_a_zip_of_the_stock_files_is_a_drop_too(shop: Shop, tmp_path: Path) -> None:
    drop = stock_drop(tmp_path / "stock")
    shutil.make_archive(str(tmp_path / "stock"), "zip", drop)
    shutil.copy(tmp_path / "stock.zip", shop.inbox / "stock.zip")
    run_until_quiet(shop)
    copied = shop.outbox / TARGET / "usb" / "bootanimation.zip"
    assert copied.read_bytes() == (drop / "bootanimation.zip").read_bytes()
