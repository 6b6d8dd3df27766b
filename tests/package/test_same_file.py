"""Files that come again under another name."""

from __future__ import annotations

import os
from pathlib import Path

from keyturn.package.same_file import Recent


def write(path: Path, data: bytes, at_ns: int = 10**18) -> Path:
    path.write_bytes(data)
    os.utime(path, ns=(at_ns, at_ns))
    return path


class Maker:
    """Counts how often it is asked; each thing it makes is a new one."""

    def __init__(self) -> None:
        self.recent: Recent[int] = Recent(2)
        self.made = 0

    def __call__(self, path: Path, about: str = "tall") -> int:
        def make() -> int:
            self.made += 1
            return self.made

        return self.recent.once(path, about, make)


def test_a_copy_is_known_and_anything_else_is_not(tmp_path: Path) -> None:
    make = Maker()
    first = write(tmp_path / "0001.png", b"lamps on")
    assert make(first) == 1
    assert make(write(tmp_path / "0002.png", b"lamps on")) == 1
    assert make(write(tmp_path / "0003.png", b"lamps of")) == 2  # as long
    assert make(write(tmp_path / "0004.png", b"lamps")) == 3
    assert make(write(tmp_path / "0005.png", b"lamps"), "wide") == 4


def test_a_file_that_was_changed_or_taken_away_is_no_witness(tmp_path: Path) -> None:
    make = Maker()
    first, copy = write(tmp_path / "a", b"1234"), write(tmp_path / "b", b"5678")
    assert make(first) == 1
    write(first, b"5678", at_ns=10**18 + 1)
    assert make(copy) == 2
    copy.unlink()
    assert make(write(tmp_path / "c", b"5678")) == 3


def test_a_file_that_changes_while_it_is_read_is_not_remembered(tmp_path: Path) -> None:
    recent: Recent[str] = Recent(2)
    path = write(tmp_path / "a", b"1234")

    def make() -> str:
        write(path, b"5678", at_ns=10**18 + 1)
        return "of 1234"

    assert recent.once(path, None, make) == "of 1234"
    assert recent.once(write(tmp_path / "b", b"5678"), None, lambda: "of 5678") == "of 5678"


def test_only_the_last_few_are_kept(tmp_path: Path) -> None:
    make = Maker()
    files = [write(tmp_path / str(i), bytes([i])) for i in range(3)]
    assert [make(path) for path in files] == [1, 2, 3]
    assert [make(path) for path in (files[1], files[2], files[0])] == [2, 3, 4]
