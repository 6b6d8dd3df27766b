"""A service that runs while a test looks on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from faults import live
from keyturn.service.drop_folders import DropFolders
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from samples import Clock


@pytest.fixture
def running(shop: Shop) -> Iterator[Service]:
    """A service of the shop, on a thread of its own."""
    with live.running(shop) as service:
        yield service


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def way(shop: Shop) -> DropFolders:
    return DropFolders(shop, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
