"""What the tests of the inbox share."""

from __future__ import annotations

from pathlib import Path

import pytest

from zip_samples import ZipBench


@pytest.fixture
def bench(tmp_path: Path) -> ZipBench:
    """A zip yet to be written, and the folder it is unpacked to."""
    return ZipBench(tmp_path)
