"""Files made smaller by the crew: what a sample tells of all, what is told of the progress, and when it ends."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.package.animation import FrameStore, StoredFile
from keyturn.package.smaller import SAMPLED, Outlook, Smaller
from keyturn.shop.progress import Progress
from keyturn.workers.crew import InlineCrew
from samples import Clock


@pytest.fixture
def store(tmp_path: Path) -> Iterator[FrameStore]:
    with FrameStore(tmp_path / "tiny") as made:
        yield made


def stored(store: FrameStore, count: int) -> list[StoredFile]:
    """Return flat pictures stored without compression, which any packing makes smaller."""
    files = []
    for number in range(count):
        data = io.BytesIO()
        Image.fromarray(np.full((64, 48, 3), number, np.uint8)).save(data, "PNG", compress_level=0)
        files.append(store.add(data.getvalue()))
    return files


@pytest.mark.parametrize(
    ("best", "missing", "may"), [(0.06, 0.07, True), (0.06, 0.45, False), (0.7, 0.75, True), (0.7, 0.9, False)]
)
def test_a_sample_tells_whether_all_can_save_what_is_missing(best: float, missing: float, may: bool) -> None:
    assert Outlook(best, best).may_save(missing) is may


def test_a_few_files_tell_what_all_would_save(store: FrameStore) -> None:
    told: list[tuple[str, int, int]] = []
    smaller = Smaller(store, InlineCrew(), Progress(lambda *said: told.append(said)), 300)
    files = stored(store, 20)
    outlook = smaller.outlook(files, None)
    assert told[-1] == ("packing harder", SAMPLED, SAMPLED)
    made = smaller.successors(files, None)
    all_saved = 1 - sum(made[file].size for file in files) / sum(file.size for file in files)
    assert outlook.saved == pytest.approx(all_saved, abs=0.01) and outlook.best >= outlook.saved


def test_of_no_files_nothing_is_saved(store: FrameStore) -> None:
    assert Smaller(store, InlineCrew(), Progress(), 300).outlook([], None) == Outlook(0.0, 0.0)


def test_each_stage_is_told_by_its_name_and_with_its_files(store: FrameStore) -> None:
    told: list[tuple[str, int, int]] = []
    smaller = Smaller(store, InlineCrew(), Progress(lambda *said: told.append(said)), 300)
    smaller.successors(stored(store, 2), None)
    smaller.successors(stored(store, 1), 80)
    assert told == [*(("packing harder", n, 2) for n in range(3)), ("making JPEG", 0, 1), ("making JPEG", 1, 1)]


def test_files_that_are_not_done_in_time_have_no_successor(store: FrameStore) -> None:
    clock = Clock()

    def tell(stage: str, done: int, total: int) -> None:
        clock.at += 10 if done else 0

    smaller = Smaller(store, InlineCrew(), Progress(tell, clock=clock), 25)
    files = stored(store, 6)
    assert list(smaller.successors(files, None)) == files[:3]
    assert smaller.successors(files, None) == {}, "its time is up for this drop"
    assert len(smaller.successors(files, 80)) == 3, "the other way has its own"
