"""Publishing: revisions appear whole, nothing is overwritten, and the drop goes to the archive."""

from __future__ import annotations

import pytest

from folder_samples import claim, everywhere, lay, staged
from keyturn.service.drop_folders import DropFolders
from keyturn.shop.folders import Shop


def test_publishing_makes_the_revision_appear_and_archives_the_drop(way: DropFolders, shop: Shop) -> None:
    lay(shop)
    taken = claim(way)
    target = way.publish(taken, staged(way, taken), "c/van-r1")
    assert (target / "usb" / "logo.png").read_bytes() == b"logo"
    assert everywhere(shop) == ["archive"]
    assert not list(shop.work.iterdir())


def test_nothing_is_ever_overwritten(way: DropFolders, shop: Shop) -> None:
    lay(shop)
    taken = claim(way)
    (shop.outbox / "c" / "van-r1").mkdir(parents=True)
    with pytest.raises(FileExistsError):
        way.publish(taken, staged(way, taken), "c/van-r1")
    assert everywhere(shop) == ["work"]
