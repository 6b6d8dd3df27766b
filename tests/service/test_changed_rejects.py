"""A refused drop whose damaged file is replaced: page, board and status say so, and nothing is moved."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from keyturn.outbox.record_files import read_rejection
from keyturn.service import changed_rejects
from keyturn.service.changed_rejects import LATER_NS, note_changes
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse
from keyturn.shop.records import Rejection
from samples import Drop
from shop_runs import run_until_quiet, service_of

CUT = refuse("picture-broken", "is damaged", "copy it again", file="lamps/0001.png")
OTHER = refuse("picture-empty", "is empty", "copy it again", file="lamps/0002.png")


@pytest.fixture
def folder(shop: Shop, drop: Drop) -> Path:
    """A refused drop, as it lies in rejects for an hour."""
    made = drop("van").rename(shop.rejects / "van")
    record = Rejection(
        keyturn="0", drop="van", claim="c", customer=None, rejected_at="2026-03-01", reasons=(CUT, OTHER)
    )
    (made / "REJECTED.json").write_text(record.model_dump_json())
    return made


def later(folder: Path, seconds: int) -> None:
    """Let the record be so much older than the files."""
    at = time.time_ns() - seconds * 10**9
    os.utime(folder / "REJECTED.json", ns=(at, at))


def test_what_lies_there_as_it_was_refused_is_left_alone(folder: Path) -> None:
    before = (folder / "REJECTED.json").read_bytes()
    assert note_changes(folder, (CUT, OTHER)) is None
    assert (folder / "REJECTED.json").read_bytes() == before and not (folder / "REJECTED.html").exists()


def test_the_page_names_the_file_that_changed_and_offers_retry_once(folder: Path) -> None:
    later(folder, 60)
    os.utime(folder / "lamps" / "0001.png", (1, 1))  # a copy that keeps its old time
    noted = note_changes(folder, (CUT,))
    assert noted and "keyturn retry van" in noted.reasons[0].mend and noted.reasons[1] == OTHER
    assert read_rejection(folder) == noted
    for page in ("REJECTED.html", "REJECTED.txt"):
        assert "keyturn retry van" in " ".join((folder / page).read_text().split())
    assert note_changes(folder, noted.reasons) is None
    assert (folder / "lamps" / "0001.png").exists(), "it stays where it is mended"


@pytest.mark.parametrize("name", ["REJECTED.json", "lamps"])
def test_a_folder_that_is_taken_away_meanwhile_is_nobodys_fault(folder: Path, name: str) -> None:
    later(folder, 60)
    (folder / name).rename(folder.parent / "elsewhere")
    assert note_changes(folder, (CUT,)) is None


def test_a_folder_that_takes_no_file_stays_as_it_is(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    later(folder, 60)

    def closed(path: Path, data: bytes) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(changed_rejects.durable_files, "write_atomic", closed)
    assert note_changes(folder, (CUT,)) is None


def test_the_service_tells_it_and_leaves_the_drop_in_rejects(shop: Shop, drop: Drop) -> None:
    whole = drop("van")
    data = (whole / "lamps" / "0002.png").read_bytes()
    (whole / "lamps" / "0002.png").write_bytes(data[:60])
    whole.rename(shop.inbox / "van")
    run_until_quiet(shop)
    folder = shop.rejects / "van"
    (folder / "lamps" / "0002.png").write_bytes(data)
    later(folder, 2 * LATER_NS // 10**9)
    service = service_of(shop)
    service.run(until_quiet=True)
    (row,) = service.state().refused
    assert "keyturn retry van" in row.reasons[0].mend
    assert "keyturn retry van" in shop.board.read_text()
    assert (folder / "lamps" / "0002.png").read_bytes() == data and not list(shop.inbox.iterdir())
