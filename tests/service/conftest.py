"""A service that runs while a test looks on."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from faults import live
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
