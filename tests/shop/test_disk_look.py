"""The disk is looked at without writing there (statvfs(3))."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from keyturn.shop.disk_look import LEAST_BYTES, disk_fault

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
