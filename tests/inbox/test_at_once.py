"""A drop that came by one rename is told from one that is copied in, and a whole zip from a piece of one."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

import pytest

from keyturn.inbox.at_once import came_whole, is_complete_zip
from keyturn.shop import rulebook
from samples import Drop

CAPS = rulebook.load().intake.caps
TICK_S = 0.02
"""Longer than the steps in which a kernel counts the times of files (at most 10 ms, CONFIG_HZ=100)."""


def _later() -> None:
    time.sleep(TICK_S)


@pytest.fixture
def moved(drop: Drop, tmp_path: Path) -> Path:
    source = drop("van")
    _later()
    return source.rename(tmp_path / "moved")


def test_a_renamed_folder_came_whole(moved: Path) -> None:
    assert came_whole(moved)


def test_a_folder_that_is_written_to_did_not(moved: Path) -> None:
    _later()
    (moved / "lamps" / "0007.png").write_bytes(b"more")
    assert not came_whole(moved)


def test_a_folder_that_was_made_there_did_not(drop: Drop) -> None:
    assert not came_whole(drop("van"))


@pytest.mark.parametrize("years", [-1, 1])
def test_times_that_a_copy_keeps_are_not_looked_at(moved: Path, drop: Drop, years: int) -> None:
    """The times that `cp -p` sets are mtimes; setting one changes the ctime (utimensat(2), inode(7))."""
    then = time.time() + years * 365 * 86_400
    _later()
    os.utime(moved / "lamps" / "0001.png", (then, then))
    assert not came_whole(moved)
    made = drop("other")
    os.utime(made / "lamps", (then, then))
    assert not came_whole(made)


def test_a_copy_that_keeps_times_sets_those_of_the_folder_last(drop: Drop, tmp_path: Path) -> None:
    _later()
    source = drop("van")
    _later()
    shutil.copytree(source, tmp_path / "copied")  # ends with the folder's own times, as `cp -p` and `rsync -t` do
    _later()
    os.utime(tmp_path / "copied", (1, 1))
    assert came_whole(tmp_path / "copied")


def test_a_file_and_what_is_gone_did_not_come_whole(tmp_path: Path) -> None:
    assert not came_whole(tmp_path / "gone")


def test_a_zip_is_complete_once_its_directory_is_there(drop: Drop, tmp_path: Path) -> None:
    whole = Path(shutil.make_archive(str(tmp_path / "van"), "zip", drop("van")))
    assert is_complete_zip(whole, CAPS)
    data = whole.read_bytes()
    for share in (0.0, 0.5, 0.99):
        whole.write_bytes(data[: int(len(data) * share)])
        assert not is_complete_zip(whole, CAPS)
    assert not is_complete_zip(tmp_path / "gone.zip", CAPS)


def test_a_pipe_with_a_zips_name_is_not_opened(tmp_path: Path) -> None:
    """Opening one for reading waits for a writer, for ever (fifo(7))."""
    os.mkfifo(tmp_path / "van.zip")
    assert not is_complete_zip(tmp_path / "van.zip", CAPS)
