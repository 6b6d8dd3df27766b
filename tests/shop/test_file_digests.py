"""Digests of files: each is read once, and a change is noticed however it was made."""

from __future__ import annotations

import os
import threading
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


def test_a_thread_takes_digests_ahead_and_nobody_reads_a_file_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[Path] = []
    monkeypatch.setattr(file_digests, "_read", lambda path: (read.append(path), path.name.encode())[1])
    arts = [tmp_path / f"{number}.png" for number in range(50)]
    for art in arts:
        art.touch()
    digests = FileDigests()
    with digests.taken_ahead(arts):
        assert [digests.of(art) for art in arts] == [art.name.encode() for art in arts]
    assert sorted(read) == sorted(arts)


def test_a_file_that_cannot_be_read_ahead_fails_whoever_asks_for_it(tmp_path: Path) -> None:
    art = tmp_path / "a.png"
    art.write_bytes(b"lamps")
    digests = FileDigests()
    with digests.taken_ahead([tmp_path / "gone.png", art]):
        with pytest.raises(FileNotFoundError):
            digests.of(tmp_path / "gone.png")
        assert digests.of(art) == FileDigests().of(art)


def test_taking_ahead_ends_with_the_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Here at the second file: a refused drop is not read to its end."""
    begun, go_on = threading.Event(), threading.Event()
    read: list[Path] = []

    def read_slowly(path: Path) -> bytes:
        read.append(path)
        begun.set()
        go_on.wait()
        return b""

    monkeypatch.setattr(file_digests, "_read", read_slowly)
    arts = [tmp_path / f"{number}.png" for number in range(50)]
    for art in arts:
        art.touch()
    with pytest.raises(ValueError, match="refused"), FileDigests().taken_ahead(arts):
        begun.wait()
        threading.Timer(0.05, go_on.set).start()
        raise ValueError("refused")
    assert len(read) < len(arts)
