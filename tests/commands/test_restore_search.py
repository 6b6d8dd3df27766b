"""Kept stock files are found by name and by path, and `keyturn copy` puts them on a stick and compares."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from keyturn.commands.restore_search import find
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from keyturn.shop.wrong_use import WrongUse
from samples import Run
from shop_runs import lay, run_until_quiet
from stock_samples import MANIFEST, stock_drop

Said = pytest.CaptureFixture[str]


@pytest.fixture
def kept(shop: Shop, tmp_path: Path) -> Path:
    """The folder of stock files in the outbox, and the drop beside it as `stock`."""
    lay(stock_drop(tmp_path / "stock"), shop)
    run_until_quiet(shop)
    return shop.outbox / "fern-hollow-mobile-library" / "restore-tiny"


def no_shop() -> Shop:
    raise AssertionError("a path needs no shop")


def test_names_and_paths_lead_to_the_stock_files(shop: Shop, kept: Path) -> None:
    by_name = [find(name, lambda: shop) for name in ("restore-tiny", "fern-hollow-mobile-library/restore-tiny")]
    by_path = [find(str(path), no_shop) for path in (kept, kept / "usb")]
    assert {found.folder if found else None for found in by_name + by_path} == {kept / "usb"}
    assert find("van", no_shop) is None and find("restore-wide", lambda: shop) is None


def test_of_several_customers_one_must_be_named(shop: Shop, kept: Path, tmp_path: Path) -> None:
    lay(stock_drop(tmp_path / "other", manifest=MANIFEST.replace("Fern Hollow Mobile Library", "Lantern Row")), shop)
    run_until_quiet(shop)
    with pytest.raises(WrongUse, match="lantern-row/restore-tiny"):
        find("restore-tiny", lambda: shop)
    assert find("lantern-row/restore-tiny", lambda: shop)


def test_a_record_that_is_not_as_the_service_wrote_it_is_not_believed(shop: Shop, kept: Path) -> None:
    record = kept / "restore.json"
    text = record.read_text(encoding="utf-8")
    for spoilt in (text.replace('"stock"', '"other"'), "{"):
        record.unlink()
        record.write_text(spoilt, encoding="utf-8")
        with pytest.raises(ShopFault, match=r"restore\.json"):
            find("restore-tiny", lambda: shop) or find(str(kept), no_shop)
    moved = shutil.copytree(kept, shop.outbox / "lantern-row" / "restore-tiny")
    (moved / "restore.json").write_text(text, encoding="utf-8")
    with pytest.raises(ShopFault, match="was not published by this shop's service"):
        find(str(moved), no_shop)


def test_they_are_copied_read_back_and_compared(shop: Shop, kept: Path, run: Run, tmp_path: Path, capsys: Said) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    assert run("copy", "restore-tiny", stick, "--any-folder", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "2 stock files of Fern Hollow Mobile Library's tiny" in said and str(kept / "INSTALL.txt") in said
    drop = tmp_path / "stock"
    assert {p.name: p.read_bytes() for p in stick.iterdir()} == {
        "bootanimation.zip": (drop / "bootanimation.zip").read_bytes(),
        "logo.png": (drop / "stock-logo.png").read_bytes(),
    }


def test_they_are_copied_where_the_customer_s_yes_is_asked_for(
    shop: Shop, kept: Path, run: Run, tmp_path: Path
) -> None:
    with (shop.root / "keyturn.toml").open("a", encoding="utf-8") as settings:
        settings.write("[approval]\nrequired = true\n")
    (tmp_path / "stick").mkdir()
    assert run("copy", kept, tmp_path / "stick", "--any-folder", "--root", shop.root) == 0


def test_files_that_were_changed_since_are_not_copied(shop: Shop, kept: Path, run: Run, tmp_path: Path) -> None:
    (kept / "usb" / "logo.png").unlink()
    (kept / "usb" / "logo.png").write_bytes(b"painted over")
    (tmp_path / "stick").mkdir()
    assert run("copy", "restore-tiny", tmp_path / "stick", "--any-folder", "--root", shop.root) == 2
    assert not list((tmp_path / "stick").iterdir())
