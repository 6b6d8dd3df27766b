"""Doctor tells of radios' kept stock files: how many, and which were changed or lost."""

from __future__ import annotations

from pathlib import Path

from keyturn.commands.finding import Health
from keyturn.commands.restore_health import restores
from keyturn.shop.folders import Shop
from shop_runs import lay, run_until_quiet
from stock_samples import MANIFEST, stock_drop


def test_a_shop_without_stock_files_is_told_nothing(shop: Shop) -> None:
    assert list(restores(shop)) == []


def test_what_was_changed_or_lost_is_named_with_the_way_out(shop: Shop, tmp_path: Path) -> None:
    for name, customer in (("one", "Fern Hollow Mobile Library"), ("two", "Lantern Row")):
        lay(stock_drop(tmp_path / name, manifest=MANIFEST.replace("Fern Hollow Mobile Library", customer)), shop)
    run_until_quiet(shop)
    assert [(f.health, f.what) for f in restores(shop)] == [(Health.WELL, "stock files are kept of 2 radios")]
    folder = shop.outbox / "lantern-row" / "restore-tiny"
    (folder / "usb" / "logo.png").unlink()
    spoilt, rest = restores(shop)
    assert spoilt.health is Health.MIND and str(folder) in spoilt.what and "archive" in spoilt.remedy
    assert rest.what == "stock files are kept of one radio"
    record = shop.outbox / "fern-hollow-mobile-library" / "restore-tiny" / "restore.json"
    text = record.read_text(encoding="utf-8")
    record.unlink()
    record.write_text(text.replace("tiny", "wide"), encoding="utf-8")
    assert [finding.health for finding in restores(shop)] == [Health.MIND, Health.MIND]
