"""A customer's revisions are sorted by the time in their records, and a record is read again only when it changed."""

from __future__ import annotations

import json
import os
from collections import Counter
from pathlib import Path

import pytest

from keyturn.outbox import customer_folder
from keyturn.outbox.customer_folder import newest_first, revision_names, revisions_with_record
from keyturn.shop import durable_files


@pytest.fixture
def customer(tmp_path: Path) -> Path:
    for number, day in ((1, 3), (2, 1), (10, 2)):
        put(tmp_path / "fern" / f"van-r{number}", number, day)
    return tmp_path / "fern"


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often the record of each revision was read."""
    counted: Counter[str] = Counter()
    real = durable_files.read_plain

    def counting(path: Path, most: int) -> bytes | None:
        counted[path.parent.name] += 1
        return real(path, most)

    monkeypatch.setattr(customer_folder.durable_files, "read_plain", counting)
    return counted


def put(folder: Path, number: int, day: int) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    record = folder / "job.json"
    record.write_text(json.dumps({"made_at": f"2026-03-{day:02d}T09:30:00+00:00", "revision": number}))
    return record


def test_the_time_in_the_record_decides_the_order_not_the_name_or_the_files_time(customer: Path) -> None:
    os.utime(customer / "van-r2" / "job.json", (2e9, 2e9))
    assert newest_first(customer) == ["van-r1", "van-r10", "van-r2"]


def test_of_two_revisions_with_one_time_the_higher_number_is_the_newer(customer: Path) -> None:
    put(customer / "van-r9", 9, 2)
    assert newest_first(customer) == ["van-r1", "van-r10", "van-r9", "van-r2"]


def test_a_record_is_read_once(customer: Path, reads: Counter[str]) -> None:
    for _ in range(3):
        newest_first(customer)
    assert reads == {"van-r1": 1, "van-r2": 1, "van-r10": 1}


def test_a_revision_put_there_by_hand_is_noticed(customer: Path, reads: Counter[str]) -> None:
    newest_first(customer)
    put(customer / "ferry-r1", 1, 9)
    assert newest_first(customer)[0] == "ferry-r1"
    assert reads["van-r1"] == 1


def test_a_revision_taken_away_is_noticed(customer: Path) -> None:
    newest_first(customer)
    (customer / "van-r1" / "job.json").unlink()
    assert newest_first(customer) == ["van-r10", "van-r2"]


def test_a_record_written_anew_is_noticed_even_with_its_old_size_and_time(customer: Path) -> None:
    """inode(7): writing and utime(2) change st_ctime, and no call sets it to a given time."""
    newest_first(customer)
    before = (customer / "van-r2" / "job.json").stat()
    record = put(customer / "van-r2", 2, 9)
    os.utime(record, ns=(before.st_atime_ns, before.st_mtime_ns))
    after = record.stat()
    assert (after.st_size, after.st_mtime_ns, after.st_ino) == (before.st_size, before.st_mtime_ns, before.st_ino)
    assert newest_first(customer)[0] == "van-r2"


def test_a_record_replaced_by_another_file_is_noticed(customer: Path) -> None:
    newest_first(customer)
    put(customer / "new", 2, 9).replace(customer / "van-r2" / "job.json")
    assert newest_first(customer)[0] == "van-r2"


@pytest.mark.parametrize(
    "spoilt", [b"", b"{", b"[]", b"null", b"\xff\xfe", b'{"made_at": 7, "revision": 1}', b"[" * 9999]
)
def test_what_is_no_record_is_left_out(customer: Path, spoilt: bytes) -> None:
    (customer / "van-r1" / "job.json").write_bytes(spoilt)
    assert newest_first(customer) == ["van-r10", "van-r2"]


def test_what_is_no_revision_is_left_out(customer: Path) -> None:
    for name in ("van-r0", "van", "proof.html", "van-r3.bak"):
        put(customer / name, 1, 9)
    (customer / "van-r4").mkdir()
    (customer / "van-r5").write_bytes(b"")
    (customer / "van-r6").mkdir()
    (customer / "van-r6" / "job.json").symlink_to(customer / "van-r1" / "job.json")
    assert newest_first(customer) == ["van-r1", "van-r10", "van-r2"]


def test_a_spoilt_record_is_a_record_too(customer: Path) -> None:
    (customer / "van-r1" / "job.json").write_bytes(b"{")
    (customer / "van-r4").mkdir()
    assert sorted(revisions_with_record(customer)) == ["van-r1", "van-r10", "van-r2"]


def test_a_missing_folder_holds_no_revisions(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    assert newest_first(tmp_path / "gone") == newest_first(tmp_path / "file") == []


def test_a_link_is_no_customer_and_no_revision(customer: Path) -> None:
    """The shop's people may write in the outbox, and a link leads wherever they like."""
    (customer.parent / "link").symlink_to(customer)
    (customer / "van-r11").symlink_to(customer / "van-r1")
    assert revision_names(customer.parent / "link") == []
    assert sorted(revision_names(customer)) == ["van-r1", "van-r10", "van-r2"]
