"""Files that come again under another name."""

from __future__ import annotations

import os
from pathlib import Path

from keyturn.stages.again import Recent


def write(path: Path, data: bytes, at_ns: int = 10**18) -> Path:
    path.write_bytes(data)
    os.utime(path, ns=(at_ns, at_ns))
    return path


def test_a_copy_is_known_and_anything_else_is_not(tmp_path: Path) -> None:
    recent: Recent[str] = Recent(2)
    first = write(tmp_path / "0001.png", b"lamps on")
    assert recent.found(first, "tall") is None
    assert recent.keep(first, "tall", "made") == "made"
    assert recent.found(write(tmp_path / "0002.png", b"lamps on"), "tall") == "made"
    assert recent.found(write(tmp_path / "0003.png", b"lamps of"), "tall") is None  # as long
    assert recent.found(write(tmp_path / "0004.png", b"lamps"), "tall") is None
    assert recent.found(first, "wide") is None


def test_a_file_that_was_changed_or_taken_away_is_no_witness(tmp_path: Path) -> None:
    recent: Recent[str] = Recent(2)
    first, copy = write(tmp_path / "a", b"1234"), write(tmp_path / "b", b"5678")
    recent.keep(first, None, "made of 1234")
    write(first, b"5678", at_ns=10**18 + 1)
    assert recent.found(copy, None) is None
    first.unlink()
    assert recent.found(copy, None) is None


def test_only_the_last_few_are_kept(tmp_path: Path) -> None:
    recent: Recent[int] = Recent(2)
    files = [write(tmp_path / str(i), bytes([i])) for i in range(3)]
    for i, path in enumerate(files):
        recent.keep(path, None, i)
    assert [recent.found(path, None) for path in files] == [None, 1, 2]
