"""Folders that an earlier Keyturn made are told where they are too open, or keep the group back."""

from __future__ import annotations

import pytest

from keyturn.commands import doctor, service_health
from keyturn.commands.finding import Health
from keyturn.commands.folder_rights import keeps_group_back, too_open
from keyturn.shop.folders import Shop


def test_a_shop_as_init_makes_it_is_not_too_open(shop: Shop) -> None:
    assert list(too_open(shop)) == list(keeps_group_back(shop)) == []
    assert list(too_open(Shop(shop.root / "nothing"))) == []


def test_a_shop_of_an_earlier_keyturn_is_told_how_to_close_its_folders(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """inode(7): without the sticky bit whoever may write in a folder may remove and rename anything in it."""
    monkeypatch.setattr(service_health, "_unit_state", lambda: "")
    shop.root.chmod(0o755)
    shop.outbox.chmod(0o2775)
    shop.work.chmod(0o750)
    remedies = [remedy for _, remedy in (*too_open(shop), *keeps_group_back(shop))]
    assert remedies == [f"chmod +t {shop.outbox}", f"chmod o-rwx {shop.root}", f"chmod g+s {shop.work}"]
    told = [finding for finding in doctor._folders(shop) if finding.remedy in remedies]
    assert [finding.health for finding in told] == [Health.MIND] * 3
