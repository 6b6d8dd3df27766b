"""A file takes room on the disk and gives it back."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from keyturn.service.disk_reserve import RESERVE_BYTES, DiskReserve


def test_it_takes_real_room_and_gives_it_back(tmp_path: Path) -> None:
    """stat(2): st_blocks counts the 512-byte blocks that are allocated; a sparse file has none."""
    reserve = DiskReserve(tmp_path / "reserve")
    assert not reserve.give_up(), "there was none"
    reserve.lay_down()
    assert (tmp_path / "reserve").stat().st_blocks * 512 >= RESERVE_BYTES
    reserve.lay_down()
    assert reserve.give_up() and not (tmp_path / "reserve").exists()


def test_on_a_full_disk_no_half_of_it_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(descriptor: int, offset: int, length: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "posix_fallocate", full)
    DiskReserve(tmp_path / "reserve").lay_down()
    assert list(tmp_path.iterdir()) == []


def test_where_nothing_can_be_written_nothing_is_said(tmp_path: Path) -> None:
    DiskReserve(tmp_path / "nothing" / "reserve").lay_down()
    (tmp_path / "reserve").mkdir()
    assert not DiskReserve(tmp_path / "reserve").give_up(), "a folder of that name is not ours"
