"""Which faults a copy in progress would give, and how long a drop that has no others is left alone."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keyturn.inbox.doubts import FRESH_S, MOST_REMEMBERED, Doubts, still_arriving
from keyturn.inbox.survey import snapshot
from keyturn.inbox.waiting import Inbox
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Reason, note, refuse
from keyturn.shop.rulebook import Rulebook
from samples import Drop

SHORT = refuse("picture-broken", "is damaged", "copy it", file="lamps/0001.png")
GAP = note("frames-gap", "number 2 is missing", "add it", file="lamps/0001.png")
WRONG = refuse("radio-unknown", "there is no such radio", "name another")


def looks(drop: Path, *reasons: Reason, age_s: float = 0.0, root: Path | None = None) -> str:
    newest = max(path.lstat().st_ctime for path in drop.rglob("*"))
    return still_arriving(reasons, drop, root or drop, lambda: newest + age_s)


def test_what_is_cut_short_may_be_arriving_and_what_is_wrong_is_not(drop: Drop) -> None:
    van = drop("van")
    assert looks(van, SHORT) == "lamps/0001.png looks cut short"
    assert looks(van, SHORT, WRONG) == "" == looks(van, WRONG)
    assert looks(van) == ""
    assert looks(van, note("motion-stands", "it stands", "")) == ""


def test_a_missing_picture_may_come_while_the_others_are_new(drop: Drop) -> None:
    van = drop("van")
    assert looks(van, GAP, age_s=FRESH_S - 1)
    assert not looks(van, GAP, age_s=FRESH_S + 1)
    assert looks(van, GAP, age_s=-3600), "a clock that was set back makes no file old"
    assert looks(van, refuse("part-empty", "names no picture", "put some", file="job.toml"))


@pytest.mark.parametrize(("data", "arriving"), [(b"", True), (b"\0" * 100, True), (b"GIMP xcf", False)])
def test_a_file_of_no_known_kind_may_be_arriving_only_where_it_holds_nothing(
    drop: Drop, data: bytes, arriving: bool
) -> None:
    van = drop("van")
    (van / "lamps" / "0001.png").write_bytes(data)
    assert bool(looks(van, refuse("picture-unknown", "is no picture", "put one", file="lamps/0001.png"))) is arriving


def test_a_font_that_is_broken_missing_or_holds_nothing_yet_may_be_arriving(drop: Drop) -> None:
    van = drop("van")
    (van / "brand.ttf").write_bytes(b"")
    for code, file in (("font-broken", "brand.ttf"), ("font-missing", "job.toml"), ("font-kind", "brand.ttf")):
        assert looks(van, refuse(code, "is a font", "send it anew", file=file)), code
    (van / "brand.ttf").write_bytes(b"no font at all")
    assert not looks(van, refuse("font-kind", "is no font", "send one", file="brand.ttf"))


def test_a_pipe_in_the_manifests_place_is_not_opened(drop: Drop) -> None:
    """Opening one for reading waits for a writer, for ever (fifo(7))."""
    van = drop("van")
    (van / "job.toml").unlink()
    os.mkfifo(van / "job.toml")
    assert looks(van, refuse("manifest-unreadable", "is no ordinary file", "put one", file="job.toml")) == ""


@pytest.mark.parametrize("kind", ["zip", "tar"])
def test_an_archive_that_is_cut_short_may_be_arriving_and_what_lies_in_a_whole_one_is_not(
    drop: Drop, tmp_path: Path, kind: str
) -> None:
    van = drop("van")
    cut = refuse(f"{kind}-broken", "cannot be read", "again", file=f"van.{kind}")
    assert still_arriving([cut], van, None) == f"van.{kind} looks cut short"
    assert not looks(van, SHORT, root=tmp_path / "unpacked")
    assert still_arriving([SHORT], van, None) == ""


# -- how long -----------------------------------------------------------------------------------------


def test_a_drop_that_stays_the_same_is_left_alone_twice(drop: Drop) -> None:
    doubts, seen = Doubts((60, 300)), snapshot(drop("van"))
    for _ in range(2):
        assert doubts.is_to_wait("van", seen)
        doubts.sent_back("van", "van", seen, "1.png looks cut short")
    assert not doubts.is_to_wait("van", seen)
    doubts.forget("van")
    assert doubts.is_to_wait("van", seen)
    assert not Doubts(()).is_to_wait("van", seen)


def test_a_drop_that_changed_begins_anew_and_a_copy_of_it_is_the_same(drop: Drop, tmp_path: Path) -> None:
    van = drop("van")
    doubts, seen = Doubts((60,)), snapshot(van)
    doubts.sent_back("van", "van-2", seen, "1.png looks cut short")
    shutil.copytree(van, tmp_path / "copy")
    assert not doubts.is_to_wait("van-2", snapshot(tmp_path / "copy"))
    (van / "lamps" / "0001.png").write_bytes(b"more of it")
    assert doubts.is_to_wait("van-2", snapshot(van))


def test_only_so_many_are_remembered() -> None:
    doubts = Doubts((60,))
    for number in range(MOST_REMEMBERED + 1):
        doubts.sent_back(str(number), str(number), frozenset(), "empty")
    assert doubts.is_to_wait("0", frozenset()) and not doubts.is_to_wait("1", frozenset())


@pytest.fixture
def inbox(shop: Shop, rules: Rulebook) -> Inbox:
    text = (shop.root / "keyturn.toml").read_text().replace("doubt_seconds = []", "doubt_seconds = [60, 300]")
    (shop.root / "keyturn.toml").write_text(text)
    return Inbox(shop, settings.load(shop.root), rules, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))


@pytest.fixture
def returned(inbox: Inbox, shop: Shop, drop: Drop) -> Path:
    """A drop that was sent back once."""
    van = drop("van").rename(shop.inbox / "van")
    inbox.doubts.sent_back("van", "van", snapshot(van), "1.png looks cut short")
    return van


def scanned(inbox: Inbox, *times: float) -> bool:
    for at in times:
        inbox.scan(at)
    return inbox.next() is not None


@pytest.mark.usefixtures("returned")
def test_it_lies_in_the_inbox_for_the_wait_and_the_board_says_why(inbox: Inbox) -> None:
    assert not scanned(inbox, 0.0, 1.0, 59.0)
    assert inbox.waiting()[0].note == "1.png looks cut short; waiting in case it is still being copied"
    assert scanned(inbox, 61.0, 75.0)


def test_once_more_of_it_comes_it_settles_as_any_drop(inbox: Inbox, returned: Path) -> None:
    inbox.scan(0.0)
    (returned / "lamps" / "0001.png").write_bytes(b"whole")
    (returned / "late.txt").write_bytes(b"")
    assert scanned(inbox, 2.0, 5.0)
