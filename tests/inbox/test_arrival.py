"""When a still drop is taken: an open file holds it back, and closed files let it go sooner. The time is passed in."""

from __future__ import annotations

import os
import shutil
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keyturn.inbox import arrival
from keyturn.inbox.open_files import Writers
from keyturn.inbox.waiting import Inbox
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.rulebook import Rulebook
from samples import Drop

TICK_S = 0.02
"""Longer than the steps in which a kernel counts the times of files."""


@pytest.fixture
def blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """A system that does not tell who writes."""
    monkeypatch.setattr(arrival, "open_in", lambda drop, seen: (Writers.UNSEEN, ""))
    monkeypatch.setattr(arrival, "writers_of", lambda path: Writers.UNSEEN)


def taken_at(inbox: Inbox, until: float = 7.0) -> float:
    """The time at which a drop is taken that is there from 10 s on, to a tenth of a second; 0 where it is not."""
    for tenth in range(100, 100 + int(until * 10)):
        inbox.scan(tenth / 10)
        if inbox.next():
            return tenth / 10 - 10
    return 0.0


def test_closed_files_are_taken_after_two_seconds(inbox: Inbox, shop: Shop, drop: Drop) -> None:
    shutil.copytree(drop("van"), shop.inbox / "van")
    (shop.inbox / "van" / "late.txt").write_text("")
    assert 2.0 <= taken_at(inbox) < 3.0


@pytest.mark.usefixtures("blind")
def test_where_open_files_are_not_seen_it_takes_five(inbox: Inbox, shop: Shop, drop: Drop) -> None:
    drop("van").rename(shop.inbox / "van")
    assert 5.0 <= taken_at(inbox) < 6.0


def test_a_drop_that_came_by_one_rename_is_taken_at_once(inbox: Inbox, shop: Shop, drop: Drop) -> None:
    source = drop("van")
    time.sleep(TICK_S)
    source.rename(shop.inbox / "van")
    assert 0.5 <= taken_at(inbox) < 1.0


def test_one_that_was_there_at_the_start_is_not(inbox: Inbox, shop: Shop, drop: Drop, rules: Rulebook) -> None:
    source = drop("van")
    time.sleep(TICK_S)
    source.rename(shop.inbox / "van")
    fresh = Inbox(shop, settings.load(shop.root), rules, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))
    assert 2.0 <= taken_at(fresh) < 3.0


def test_one_that_was_sent_back_is_not(inbox: Inbox, shop: Shop, drop: Drop) -> None:
    """Sending back is a rename as well."""
    drop("van").rename(shop.inbox / "van")
    inbox.scan(1.0)
    inbox.forget("van")
    (shop.inbox / "van").rename(shop.work / "van")
    inbox.scan(2.0)
    time.sleep(TICK_S)
    (shop.work / "van").rename(shop.inbox / "van")
    assert 2.0 <= taken_at(inbox) < 3.0


@pytest.mark.parametrize("share, least", [(1, 0.5), (0.5, 5.0)])
def test_a_whole_zip_is_taken_at_once_and_a_piece_of_one_is_not(
    inbox: Inbox, shop: Shop, drop: Drop, tmp_path: Path, share: float, least: float
) -> None:
    data = Path(shutil.make_archive(str(tmp_path / "van"), "zip", drop("van"))).read_bytes()
    (shop.inbox / "van.zip").write_bytes(data[: int(len(data) * share)])
    assert least <= taken_at(inbox) < least + 1


@pytest.mark.parametrize("name", ["van", "van.zip"])
def test_an_open_file_holds_a_drop_back_for_as_long_as_it_is_open(
    inbox: Inbox, shop: Shop, drop: Drop, tmp_path: Path, name: str
) -> None:
    file = "lamps/0003.png"
    if name == "van":
        drop("van").rename(shop.inbox / "van")
    else:
        Path(shutil.make_archive(str(tmp_path / "van"), "zip", drop("van"))).rename(shop.inbox / name)
    with (shop.inbox / name / file if name == "van" else shop.inbox / name).open("r+b"):
        for at in (10.0, 20.0, 30.0, 1000.0, 86_400.0):
            inbox.scan(at)
            assert inbox.next() is None
        (row,) = inbox.waiting()
        assert row.note == f"{file if name == 'van' else name} is still being written"
        assert inbox.next_walk() <= 86_401.0
    inbox.scan(86_402.0)
    assert inbox.next() is not None


def test_a_file_that_grows_while_it_is_open_starts_the_wait_anew(inbox: Inbox, shop: Shop, drop: Drop) -> None:
    drop("van").rename(shop.inbox / "van")
    with (shop.inbox / "van" / "lamps" / "0003.png").open("ab") as file:
        for at in (10.0, 16.0, 26.0):
            inbox.scan(at)
        file.write(b"more")
    inbox.scan(27.0)
    assert inbox.next() is None
    inbox.scan(33.0)
    assert inbox.next() is not None


@pytest.mark.usefixtures("blind")
def test_where_leases_tell_nothing_a_file_that_was_written_to_and_not_closed_holds_its_drop_back(
    inbox: Inbox, shop: Shop, drop: Drop
) -> None:
    """inotify(7): a writer's close, or its end, is IN_CLOSE_WRITE."""
    drop("van").rename(shop.inbox / "van")
    inbox.scan(10.0)
    with (shop.inbox / "van" / "lamps" / "0003.png").open("ab", buffering=0) as file:
        file.write(b"more")
        for at in (11.0, 20.0, 40.0, 1000.0):
            inbox.scan(at)
            assert inbox.next() is None
        assert inbox.waiting()[0].note == "lamps/0003.png is still being written"
    inbox.scan(1300.0)
    assert inbox.next() is not None


@pytest.mark.usefixtures("blind")
def test_events_alone_hold_a_drop_back_for_an_hour_at_most(inbox: Inbox, shop: Shop, drop: Drop) -> None:
    """truncate(2) causes IN_MODIFY and no IN_CLOSE_WRITE (inotify(7))."""
    drop("van").rename(shop.inbox / "van")
    inbox.scan(10.0)
    os.truncate(shop.inbox / "van" / "lamps" / "0003.png", 90)
    for at in (11.0, 3600.0):
        inbox.scan(at)
        assert inbox.next() is None
    inbox.scan(3800.0)
    assert inbox.next() is not None
