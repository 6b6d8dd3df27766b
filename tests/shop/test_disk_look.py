"""The disk is looked at without writing there (statvfs(3))."""

from __future__ import annotations

import errno
import os
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest

from keyturn.shop.disk_look import LEAST_BYTES, DiskRoom, disk_fault, disk_room

WELL = {"f_flag": 0, "f_frsize": 4096, "f_bavail": 1000, "f_files": 5000, "f_favail": 1000}


@pytest.mark.parametrize(
    ("seen", "fault"),
    [
        ({}, None),
        ({"f_bavail": LEAST_BYTES // 4096}, None),
        ({"f_bavail": LEAST_BYTES // 4096 - 1}, errno.ENOSPC),
        ({"f_favail": 0}, errno.ENOSPC),
        ({"f_files": 0, "f_favail": 0}, None),
        ({"f_flag": os.ST_RDONLY | os.ST_NOSUID, "f_bavail": 0}, errno.EROFS),
    ],
    ids=["well", "little", "full", "no inodes", "no limit on files", "read-only"],
)
def test_what_the_disk_would_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seen: dict[str, int], fault: int | None
) -> None:
    monkeypatch.setattr(os, "statvfs", lambda folder: SimpleNamespace(**(WELL | seen)))
    found = disk_fault([tmp_path])
    assert (found is None) == (fault is None)
    if found is not None and fault is not None:
        assert found.what == f"{os.strerror(fault)} ({tmp_path})" and found.mend


def test_the_disk_of_any_folder_counts_and_one_that_is_not_there_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert disk_fault([tmp_path / "nothing"]) is None

    def looked_at(folder: Path) -> SimpleNamespace:
        return SimpleNamespace(**(WELL | {"f_bavail": 0 if folder.name == "outbox" else 1000}))

    monkeypatch.setattr(os, "statvfs", looked_at)
    assert disk_fault([tmp_path / "state"]) is None
    found = disk_fault([tmp_path / "state", tmp_path / "outbox"])
    assert found is not None and "outbox" in found.what


def test_what_a_disk_takes_yet_is_what_others_than_root_may_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """statvfs(3): f_bavail in units of f_frsize, f_favail; checked against df of coreutils."""
    columns = subprocess.run(["df", "-B1", "--output=avail,iavail", tmp_path], capture_output=True, check=True).stdout
    available, files = map(int, columns.split(b"\n")[1].replace(b"-", b"0").split())
    found = disk_room(tmp_path)
    assert found is not None
    assert found.bytes == pytest.approx(available, rel=0.05) and found.files == pytest.approx(files, rel=0.05)
    assert disk_room(tmp_path / "nothing") is None


@pytest.mark.parametrize(
    ("before", "after", "more"),
    [
        (DiskRoom(True, 0, 100), DiskRoom(True, 2 * LEAST_BYTES - 1, 100), False),
        (DiskRoom(True, 0, 100), DiskRoom(True, 2 * LEAST_BYTES, 100), True),
        (DiskRoom(True, 10**9, 0), DiskRoom(True, 10**9, 0), False),
        (DiskRoom(True, 10**9, 0), DiskRoom(True, 10**9, 2), True),
        (DiskRoom(True, 10**9, 100), DiskRoom(True, 15 * 10**8, 150), False),
        (DiskRoom(False, 10**9, 100), DiskRoom(True, 10**9, 100), True),
        (DiskRoom(False, 10**9, 100), DiskRoom(False, 10**10, 1000), False),
    ],
)
def test_twice_the_space_or_leave_to_write_tells_that_a_disk_was_mended(
    before: DiskRoom, after: DiskRoom, more: bool
) -> None:
    assert after.is_more_than(before) is more
