"""Doctor says how much of the disk finished frames take."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from keyturn.commands import doctor, kept_health
from keyturn.commands.finding import Health
from keyturn.shop.folders import Shop
from keyturn.shop.kept_results import KeptResults
from samples import as_user, open_folder


def said(shop: Shop) -> tuple[Health, str, str]:
    ((health, what, remedy),) = [(f.health, f.what, f.remedy) for f in kept_health.kept(shop)]
    return health, what, remedy


def test_it_says_what_is_kept_and_how_much_may_be(shop: Shop) -> None:
    assert said(shop)[:2] == (
        Health.WELL,
        "finished frames kept in state/kept take 0 KiB of at most 2 GiB; they can be deleted",
    )
    KeptResults(shop.kept, 2**30).write(bytes(32), bytes(3 * 2**20 - 32))
    assert "take 3.0 MiB of" in said(shop)[1]
    (shop.root / "keyturn.toml").write_text("[keep]\nframes_gib = 0\n")
    assert said(shop)[0] is Health.WELL and "frames_gib = 0" in said(shop)[1] and "3.0 MiB" in said(shop)[1]


def test_it_is_among_all_that_doctor_says(shop: Shop) -> None:
    assert any("state/kept" in finding.what for finding in doctor.examine(shop))


def test_it_says_when_nothing_can_be_kept() -> None:
    if os.geteuid() != 0:
        pytest.skip("only root can become another user")
    with open_folder() as folder:
        shop = Shop(folder / "shop")
        shop.create()
        shop.kept.mkdir()
        for path in (shop.root, shop.state, shop.kept):
            Path(path).chmod(0o755)
        with as_user(12345):
            health, what, remedy = said(shop)
    assert health is Health.MIND and "cannot be kept in state/kept" in what and "delete state/kept" in remedy


def test_settings_that_are_wrong_are_another_lines(shop: Shop) -> None:
    (shop.root / "keyturn.toml").write_text("[keep]\nframes_gib = -1\n")
    assert list(kept_health.kept(shop)) == []
