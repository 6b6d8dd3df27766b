"""An outbox with revisions in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench
from keyturn.shop.folders import Shop
from samples import Drop


@pytest.fixture
def published(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """outbox/fern-hollow-mobile-library with two revisions of "van"."""
    root = drop(frames=2)
    for _ in range(2):
        make_by_hand.make(root, shop.outbox, bench)
    return shop.outbox / "fern-hollow-mobile-library"
