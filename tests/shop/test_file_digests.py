"""Digests of files: each is read once, and a change is noticed however it was made."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from keyturn.shop import file_digests
from keyturn.shop.file_digests import FileDigests

OF_NOTHING = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262"
"""The digest of no bytes: the first test vector of BLAKE3's own test_vectors.json."""


def old(path: Path, seconds: float = 100.0) -> None:
    os.utime(path, (time.time() - seconds,) * 2)


def test_the_digest_is_blake3(tmp_path: Path) -> None:
    (tmp_path / "empty").touch()
    assert FileDigests().of(tmp_path / "empty").hex() == OF_NOTHING


def test_a_file_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    art = tmp_path / "a.png"
    art.write_bytes(b"lamps")
    digests = FileDigests()
    first = digests.of(art)
    monkeypatch.setattr(file_digests, "_read", lambda path: b"read again")
    assert digests.of(art) == first


def test_a_change_by_hand_is_noticed(tmp_path: Path) -> None:
    art = tmp_path / "a.png"
    art.write_bytes(b"lamps")
    old(art)
    digests = FileDigests()
    before = digests.of(art)
    assert digests.still_is(art, before)
    art.write_bytes(b"LAMPS")
    assert not digests.still_is(art, before)
    assert digests.of(art) != before


def test_bytes_written_in_place_with_the_time_set_back_are_noticed(tmp_path: Path) -> None:
    """Of equal size, equal mtime and one inode: the ctime alone tells (stat(2))."""
    art = tmp_path / "a.png"
    art.write_bytes(b"lamps")
    old(art)
    digests, seen = FileDigests(), art.stat()
    before = digests.of(art)
    with art.open("r+b") as file:
        file.write(b"LAMPS")
    os.utime(art, ns=(seen.st_atime_ns, seen.st_mtime_ns))
    assert not digests.still_is(art, before) and digests.of(art) != before


def test_a_file_written_just_now_is_read_again_before_it_counts_as_unchanged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within one tick of the file system's clock a second writing leaves the same times."""
    art = tmp_path / "a.png"
    art.write_bytes(b"lamps")
    digests = FileDigests()
    before = digests.of(art)
    monkeypatch.setattr(file_digests, "_same", lambda was, now: True)
    art.write_bytes(b"LAMPS")
    assert not digests.still_is(art, before)


def test_a_file_that_was_never_read_is_not_known_to_be_the_same(tmp_path: Path) -> None:
    art = tmp_path / "a.png"
    art.write_bytes(b"lamps")
    assert not FileDigests().still_is(art, b"")


def test_links_and_pipes_are_not_read(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "other")
    os.mkfifo(tmp_path / "pipe")
    for name in ("link", "pipe"):
        with pytest.raises(OSError):
            FileDigests().of(tmp_path / name)
