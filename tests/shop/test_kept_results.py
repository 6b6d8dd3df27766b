"""The folder of kept results: bounded, shared by processes, and never trusted further than its digests."""

from __future__ import annotations

import errno
import hashlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from keyturn.shop import kept_results
from keyturn.shop.kept_results import KeptResults
from samples import as_user, open_folder

PAGE = 4096


def key(number: int) -> bytes:
    return hashlib.sha256(str(number).encode()).digest()


@pytest.fixture
def kept(tmp_path: Path) -> KeptResults:
    return KeptResults(tmp_path / "kept", 2**20)


def entries(kept: KeptResults) -> list[Path]:
    return sorted(path for path in kept.folder.rglob("*") if path.is_file())


def used(kept: KeptResults, number: int, seconds_ago: float) -> None:
    path = kept.folder / key(number).hex()[:2] / key(number).hex()[2:]
    os.utime(path, (time.time() - seconds_ago,) * 2)


def test_what_was_written_is_read_also_by_a_later_process(kept: KeptResults) -> None:
    kept.write(key(1), b"lamps")
    assert kept.has(key(1)) and kept.read(key(1)) == b"lamps"
    assert KeptResults(kept.folder, 2**20).read(key(1)) == b"lamps"
    assert not kept.has(key(2)) and kept.read(key(2)) is None


@pytest.mark.parametrize("cut", [0, 20, 32, 36])
def test_a_torn_entry_counts_as_missing_and_goes(kept: KeptResults, cut: int) -> None:
    kept.write(key(1), b"lamps")
    (entry,) = entries(kept)
    entry.write_bytes(entry.read_bytes()[:cut])
    assert kept.read(key(1)) is None
    assert not kept.has(key(1))
    kept.write(key(1), b"lamps")
    assert kept.read(key(1)) == b"lamps"


def test_a_changed_entry_counts_as_missing(kept: KeptResults) -> None:
    kept.write(key(1), b"lamps")
    (entry,) = entries(kept)
    entry.write_bytes(entry.read_bytes().replace(b"lamps", b"lAmps"))
    assert kept.read(key(1)) is None


def test_an_entry_in_anothers_place_counts_as_missing(kept: KeptResults) -> None:
    kept.write(key(1), b"lamps")
    (entry,) = entries(kept)
    other = kept.folder / key(2).hex()[:2] / key(2).hex()[2:]
    other.parent.mkdir()
    entry.rename(other)
    assert kept.read(key(2)) is None


def test_an_entry_that_is_a_folder_or_a_pipe_stops_nothing(kept: KeptResults) -> None:
    for number, make in ((1, Path.mkdir), (2, os.mkfifo)):
        path = kept.folder / key(number).hex()[:2] / key(number).hex()[2:]
        path.parent.mkdir(parents=True)
        make(path)
        assert kept.read(key(number)) is None
        kept.write(key(number), b"lamps")


def test_what_was_used_longest_ago_goes_first(kept: KeptResults) -> None:
    for number in range(10):
        kept.write(key(number), bytes(100_000))
        used(kept, number, 1000 - number)
    assert kept.read(key(0)) is not None  # now it was used last
    kept.write(key(10), bytes(100_000))
    held = [number for number in range(11) if kept.has(key(number))]
    assert kept.size() <= 2**20
    assert held[0] == 0 and held[-1] == 10 and 1 not in held
    assert held[1:] == list(range(held[1], 11))


def test_two_processes_that_write_keep_the_bound_together(kept: KeptResults) -> None:
    """Each looks again after an eighth of the bound, so together they are beyond it by that much at most."""
    other = KeptResults(kept.folder, 2**20)
    for number in range(0, 40, 2):
        kept.write(key(number), bytes(50_000))
        other.write(key(number + 1), bytes(50_000))
        assert kept.size() <= (1 + 2 * kept_results.LOOK_AFTER) * 2**20


def test_what_is_too_large_is_not_kept(kept: KeptResults) -> None:
    kept.write(key(1), bytes(300_000))
    assert not kept.has(key(1)) and kept.size() == 0


def test_the_folder_can_be_deleted_at_any_time(kept: KeptResults) -> None:
    kept.write(key(1), b"lamps")
    subprocess.run(["rm", "-r", kept.folder], check=True)
    assert kept.read(key(1)) is None and kept.size() == 0
    kept.write(key(1), b"lamps")
    assert kept.read(key(1)) == b"lamps"


def test_only_what_a_killed_process_left_long_ago_is_swept(kept: KeptResults) -> None:
    kept.write(key(1), b"lamps")
    folder = kept.folder
    left, fresh, other = folder / ".keyturn-0123456789ab.tmp", folder / ".keyturn-0123456789ac.tmp", folder / "notes"
    for path in (left, fresh, other):
        path.write_bytes(bytes(10))
    os.utime(left, (0, 0))
    small = KeptResults(kept.folder, 4 * PAGE)
    for number in range(10, 20):
        small.write(key(number), b"lamps")
    assert not left.exists() and fresh.exists() and other.exists()


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO, errno.EDQUOT])
def test_a_disk_that_takes_nothing_costs_the_result_alone(
    kept: KeptResults, monkeypatch: pytest.MonkeyPatch, fault: int
) -> None:
    def refuse(self: KeptResults, path: Path, *pieces: bytes) -> None:
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr(KeptResults, "_write", refuse)
    kept.write(key(1), b"lamps")
    assert not kept.has(key(1))


def test_a_folder_that_others_may_write_is_still_read() -> None:
    with open_folder() as folder:
        kept = KeptResults(folder / "kept", 2**20)
        kept.write(key(1), b"lamps")
        for path in (kept.folder, *kept.folder.iterdir()):
            path.chmod(0o755)
        for path in entries(kept):
            path.chmod(0o644)
        if os.geteuid() != 0:
            pytest.skip("only root can become another user")
        with as_user(12345):
            assert kept.read(key(1)) == b"lamps"
            kept.write(key(2), b"lamps")
            assert not kept.has(key(2))


def test_a_full_disk_gets_the_room_back(kept: KeptResults, monkeypatch: pytest.MonkeyPatch) -> None:
    """With less free than is to be left to others, nothing is added, and what is there goes as far as needed."""
    for number in range(8):
        kept.write(key(number), bytes(100_000))
    missing = 500_000 - kept.size()
    monkeypatch.setattr(KeptResults, "_free", lambda self: missing + 800_000 - self.size())
    kept.write(key(9), bytes(100_000))
    assert kept.size() <= 500_000


WRITER = """
import hashlib, sys
from pathlib import Path
from keyturn.shop.kept_results import KeptResults
kept = KeptResults(Path(sys.argv[1]), 2**18)
for turn in range(10):
    for number in range(10):
        key = hashlib.sha256(str(number).encode()).digest()
        found = kept.read(key)
        assert found is None or bytes(found) == bytes([number]) * 40_000, number
        kept.write(key, bytes([number]) * 40_000)
"""


def test_processes_side_by_side_never_see_half_an_entry(kept: KeptResults) -> None:
    """They read, write and remove the same entries within a bound that holds six of the ten."""
    each = [subprocess.Popen([sys.executable, "-c", WRITER, kept.folder]) for _ in range(2)]
    assert [process.wait(60) for process in each] == [0, 0]
    assert not list(kept.folder.rglob("*.tmp"))
