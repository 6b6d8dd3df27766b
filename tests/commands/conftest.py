"""What the tests of the commands share."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.commands import job_search, make_by_hand
from keyturn.commands.stick_copy import StickFolder
from keyturn.pipeline import Bench
from samples import Drop


@pytest.fixture
def outbox(drop: Drop, bench: Bench, tmp_path: Path) -> Path:
    """Two revisions of "van" for one customer."""
    root = drop(frames=3)
    for _ in range(2):
        make_by_hand.make(root, tmp_path / "out", bench)
    return tmp_path / "out"


@pytest.fixture
def source(outbox: Path) -> StickFolder:
    return job_search.find(outbox, "van", None)
