"""What the fault tests share: a zygote, and a desk in memory where there is some."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from faults import campaign, watched
from faults.campaign import Campaign, fast_disk
from faults.running import Zygote


@pytest.fixture(scope="module")
def desk() -> Iterator[Path]:
    base = Path(tempfile.mkdtemp(prefix="keyturn-faults-", dir=fast_disk()))
    yield base
    shutil.rmtree(base, ignore_errors=True)


@pytest.fixture
def strace(needs: Callable[[str], str]) -> str:
    return needs("strace")


@pytest.fixture
def zygote(desk: Path, strace: str) -> Iterator[Zygote]:
    with Zygote(desk) as one:
        yield one


@pytest.fixture(scope="module")
def tries(desk: Path) -> Iterator[Campaign]:
    if not watched.available():
        pytest.skip("system calls cannot be watched on this kind of machine")
    with campaign.opened(desk, 2) as opened:
        yield opened
