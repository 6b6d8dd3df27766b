"""Drops among ten thousand names that wait in the inbox: the promises hold for each of them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from faults import promises, scenarios
from faults.promises import Asked, Laid
from faults.running import Call, Zygote
from keyturn.shop.folders import Shop

pytestmark = [pytest.mark.system, pytest.mark.slow]

CROWD = frozenset(f"{number:05}.part" for number in range(10_000))
"""Files that are still being copied, by their names: common practice of browsers and file managers, no source."""

KILLS = 4
SHARE_ERRORS = ("ESTALE", "EIO", "EACCES")


def crowded(root: Path) -> tuple[Shop, list[Laid]]:
    shutil.rmtree(root, ignore_errors=True)
    shop = scenarios.shop_in(root)
    for name in CROWD:
        (shop.inbox / name).touch()
    return shop, scenarios.drops(shop)


def kept(shop: Shop, drops: list[Laid]) -> list[str]:
    """What is broken of the promises."""
    asked = Asked()
    there = {path.name for path in shop.inbox.iterdir()}
    asked.that(there == CROWD, f"missing in the inbox: {len(CROWD - there)}, too many: {sorted(there - CROWD)[:9]}")
    for path in shop.inbox.iterdir():
        path.unlink()
    promises.after_recovery(shop, drops, asked)
    return asked.broken


def spread(calls: list[Call], count: int) -> list[Call]:
    return calls[:: -(-len(calls) // count)]


def test_killed_among_ten_thousand_names_the_shop_keeps_its_promises(desk: Path, zygote: Zygote) -> None:
    shop, drops = crowded(desk / "shop")
    changing = [call for call in zygote.calls(shop.root) if call.changes]
    assert kept(shop, drops) == []
    for call in spread(changing, KILLS):
        shop, drops = crowded(desk / "shop")
        assert zygote.killed_at(call, shop.root).killed
        assert zygote.run(shop.root).code == 0
        assert kept(shop, drops) == [], call


def test_a_share_that_fails_among_ten_thousand_names_costs_nobody_anything(desk: Path, zygote: Zygote) -> None:
    """Reading the inbox's names fails, at the first look and at a later one."""
    shop, drops = crowded(desk / "shop")
    reading = [call for call in zygote.calls(shop.root) if call.name == "getdents64" and "/inbox" in call.text]
    assert len(reading) > 2
    for call, error in zip(spread(reading, len(SHARE_ERRORS)), SHARE_ERRORS, strict=False):
        shop, drops = crowded(desk / "shop")
        assert zygote.failing_at(call, error, shop.root, times=3).code == 0
        assert kept(shop, drops) == [], (call, error)
