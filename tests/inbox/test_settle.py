"""A drop is whole when nothing in it changed for the settle time and no name looks half-copied."""

from __future__ import annotations

import math

import pytest

from keyturn.inbox.settle import Settle
from keyturn.inbox.survey import Snapshot
from keyturn.shop import rulebook
from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.settings import SettleSettings

NAMES = rulebook.load().intake.names


def seen(*names: str, size: int = 10, time: int = 1, inode: int = 1) -> Snapshot:
    return frozenset((name, FileIdentity(size, time, inode, device=1)) for name in names)


WHOLE = seen("job.toml", "0001.png", "0002.png")


@pytest.fixture
def settle() -> Settle:
    return Settle(SettleSettings(seconds=5, without_manifest_seconds=60, half_copied_seconds=3600), NAMES)


def test_a_drop_that_lies_still_long_enough_is_ready(settle: Settle) -> None:
    assert not settle.look("van", WHOLE, 100.0).ready
    assert not settle.look("van", WHOLE, 104.9).ready
    assert settle.look("van", WHOLE, 105.0).ready
    assert settle.snapshot("van") == WHOLE


@pytest.mark.parametrize(
    "changed",
    [
        WHOLE | seen("0003.png"),
        seen("job.toml", "0001.png"),
        seen("job.toml", "0001.png") | seen("0002.png", size=11),
        seen("job.toml", "0001.png") | seen("0002.png", time=2),
        seen("job.toml", "0001.png") | seen("0002.png", inode=9),
    ],
    ids=["file added", "file removed", "size", "time", "file replaced"],
)
def test_any_change_starts_the_wait_anew(settle: Settle, changed: Snapshot) -> None:
    settle.look("van", WHOLE, 100.0)
    assert not settle.look("van", changed, 104.0).ready
    assert not settle.look("van", changed, 108.9).ready
    assert settle.look("van", changed, 109.0).ready


@pytest.mark.parametrize("half", ["0003.png.part", "x.crdownload", ".goutputstream-AB12CD", "a/b.filepart"])
def test_a_name_that_looks_half_copied_keeps_the_drop_waiting(settle: Settle, half: str) -> None:
    there = WHOLE | seen(half)
    settle.look("van", there, 0.0)
    look = settle.look("van", there, 3599.0)
    assert not look.ready
    assert "half-copied" in look.note
    assert settle.look("van", there, 3600.0).ready, "it is taken then and refused: the artist must hear of it"


@pytest.mark.parametrize("name", ["~$wishes.docx", ".2.png.icloud"])
def test_a_lock_and_a_stand_in_of_a_cloud_keep_nobody_waiting(settle: Settle, name: str) -> None:
    there = WHOLE | seen(name)
    settle.look("van", there, 0.0)
    assert settle.look("van", there, 5.0).ready


def test_an_empty_folder_and_one_with_only_litter_are_never_ready(settle: Settle) -> None:
    for there in (frozenset(), seen(".DS_Store", "Thumbs.db"), seen("lamps/")):
        settle.look("van", there, 0.0)
        assert not settle.look("van", there, 10_000.0).ready


def test_without_a_manifest_the_wait_is_longer(settle: Settle) -> None:
    """Artists often copy the pictures first and write the manifest last (common practice, no source)."""
    pictures = seen("0001.png", "0002.png")
    settle.look("van", pictures, 0.0)
    assert "job.toml" in settle.look("van", pictures, 59.0).note
    assert settle.look("van", pictures, 60.0).ready


@pytest.mark.parametrize(
    "there",
    [seen(""), seen("van.zip"), seen("van.TAR.gz"), seen("van/", "van/job.toml"), seen("van.zip", "REJECTED.txt")],
)
def test_a_zip_and_a_folder_in_a_folder_need_no_longer_wait(settle: Settle, there: Snapshot) -> None:
    settle.look("van", there, 0.0)
    assert settle.look("van", there, 5.0).ready


def test_a_clock_set_back_starts_the_wait_anew_and_never_ends_it_early(settle: Settle) -> None:
    settle.look("van", WHOLE, 1000.0)
    assert not settle.look("van", WHOLE, 10.0).ready
    assert not settle.look("van", WHOLE, 14.9).ready
    assert settle.look("van", WHOLE, 15.0).ready


def test_a_drop_that_went_away_is_forgotten(settle: Settle) -> None:
    settle.look("van", WHOLE, 0.0)
    settle.keep_only([])
    assert not settle.look("van", WHOLE, 100.0).ready


# -- a drop that is known to be closed ----------------------------------------------------------------


def test_a_closed_drop_settles_sooner(settle: Settle) -> None:
    look = settle.look("van", WHOLE, 100.0)
    assert (look.early_at, look.ready_at) == (102.0, 105.0)
    assert settle.look("van", WHOLE, 101.0).early_at == 102.0


def test_a_closed_drop_that_came_with_pauses_waits_twice_the_longest_but_no_longer_than_any(settle: Settle) -> None:
    settle.look("van", seen("job.toml"), 100.0)
    settle.look("van", seen("job.toml", "0001.png"), 101.5)
    assert settle.look("van", WHOLE, 101.6).early_at == pytest.approx(104.6)
    settle.look("van", WHOLE | seen("0003.png"), 105.6)
    assert settle.look("van", WHOLE, 106.0).early_at == 111.0


@pytest.mark.parametrize("names", [["0001.png"], ["job.toml", "0001.png.part"], []])
def test_that_a_drop_is_closed_says_nothing_where_its_names_are_in_doubt(settle: Settle, names: list[str]) -> None:
    assert settle.look("van", seen(*names), 0.0).early_at == math.inf


# -- a final file -------------------------------------------------------------------------------------


def test_where_a_final_file_is_asked_for_no_folder_is_taken_without_it() -> None:
    settle = Settle(SettleSettings(seconds=5, done="done.txt"), NAMES)
    settle.look("van", WHOLE, 0.0)
    look = settle.look("van", WHOLE, 1e9)
    assert not look.ready and look.note == "waiting for done.txt" and look.early_at == math.inf
    there = WHOLE | seen("done.txt")
    assert not settle.look("van", there, 1e9).ready
    assert settle.look("van", there, 1e9 + 5).ready


@pytest.mark.parametrize("names", [[""], ["van/job.toml", "van/done.txt"]])
def test_a_single_file_needs_no_final_one_and_it_may_lie_a_folder_down(names: list[str]) -> None:
    settle = Settle(SettleSettings(seconds=5, done="done.txt"), NAMES)
    settle.look("van", seen(*names), 0.0)
    assert settle.look("van", seen(*names), 5.0).ready


@pytest.mark.parametrize("name", ["JOB.TOML", "job.toml.txt", "van/job (1).toml", "van-two.toml"])
def test_a_manifest_of_another_name_ends_the_wait_for_one(settle: Settle, name: str) -> None:
    there = seen(name, "van/0001.png")
    settle.look("van", there, 0.0)
    assert settle.look("van", there, 5.0).ready


@pytest.mark.parametrize("name", ["job.txt", "van/lamps/job.toml", "._job.toml"])
def test_what_may_be_something_else_does_not(settle: Settle, name: str) -> None:
    there = seen(name, "0001.png")
    settle.look("van", there, 0.0)
    assert not settle.look("van", there, 59.0).ready
