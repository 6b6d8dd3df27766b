"""The inbox lists what waits, finds out what is whole, and keeps the order of turns. Tests pass the time in."""

from __future__ import annotations

import math
import shutil
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keyturn.inbox import survey
from keyturn.inbox import waiting as inboxes
from keyturn.inbox.survey import Snapshot, snapshot
from keyturn.inbox.waiting import HOLD_S, LONGEST_PAUSE_S, MOST_LISTED, Inbox
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.rulebook import Rulebook
from samples import Drop

SETTLED = 10.0
"""Well above the fixture shop's settle times."""


@pytest.fixture
def inbox(shop: Shop, rules: Rulebook) -> Inbox:
    return Inbox(shop, settings.load(shop.root), rules, lambda: datetime(2026, 3, 1, 9, 30, tzinfo=UTC))


@pytest.fixture
def walks(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each drop was walked."""
    counted: Counter[str] = Counter()
    real = inboxes.snapshot

    def counting(path: Path) -> Snapshot:
        counted[path.name] += 1
        return real(path)

    monkeypatch.setattr(inboxes, "snapshot", counting)
    return counted


@pytest.fixture
def arrive(shop: Shop, drop: Drop) -> Drop:
    """arrive("van", rush=True): a whole drop in the inbox."""

    def put(name: str, rush: bool = False) -> Path:
        manifest = f'customer = "C"\nradio = "tiny"\nrush = {str(rush).lower()}\n'
        return drop(name, frames=1, manifest=manifest).rename(shop.inbox / name)

    return put


def turns(inbox: Inbox) -> list[str]:
    """The names in the order in which they would be taken."""
    taken: list[str] = []
    while (ready := inbox.next()) is not None:
        taken.append(ready.name)
        inbox.forget(ready.name)
    return taken


def settle(inbox: Inbox, at: float = 0.0) -> None:
    inbox.scan(at)
    inbox.scan(at + SETTLED)


# -- order ------------------------------------------------------------------------------------------


def test_first_come_first_served(inbox: Inbox, arrive: Drop) -> None:
    for at, name in enumerate(("zebra", "moss", "alder")):
        arrive(name)
        inbox.scan(float(at))
    inbox.scan(SETTLED)
    assert turns(inbox) == ["zebra", "moss", "alder"]


def test_what_was_there_at_the_start_goes_by_name(inbox: Inbox, arrive: Drop) -> None:
    for name in ("zebra", "moss", "alder"):
        arrive(name)
    settle(inbox)
    assert turns(inbox) == ["alder", "moss", "zebra"]


def test_rush_goes_before_the_rest(inbox: Inbox, arrive: Drop) -> None:
    for at, (name, rush) in enumerate([("a", False), ("b", False), ("c", True), ("d", True)]):
        arrive(name, rush)
        inbox.scan(float(at))
    inbox.scan(SETTLED)
    assert [w.name for w in inbox.waiting()] == ["c", "d", "a", "b"]
    assert [w.rush for w in inbox.waiting()] == [True, True, False, False]
    assert turns(inbox) == ["c", "d", "a", "b"]


def test_a_small_drop_passes_a_large_one_where_only_small_ones_have_a_turn(
    inbox: Inbox, arrive: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    film = arrive("a-film", rush=True)
    for number in range(9):
        (film / f"note-{number}.txt").touch()
    arrive("van")
    monkeypatch.setattr(survey, "SMALL_FILES", 6)
    settle(inbox)
    assert (inbox.next() or pytest.fail()).name == "a-film"
    assert (inbox.next(small=True) or pytest.fail()).name == "van"
    assert inbox.next(small=True, rush=True) is None
    assert (inbox.next(rush=True) or pytest.fail()).name == "a-film"
    inbox.forget("van")
    assert inbox.next(small=True) is None


def test_a_manifest_with_faults_elsewhere_can_still_be_in_a_rush(inbox: Inbox, arrive: Drop) -> None:
    (arrive("wrong", True) / "job.toml").write_text('customer = "C"\nradio = "tiny"\nrush = true\nbackgroud = 1\n')
    (arrive("worse", True) / "job.toml").write_text("rush = true =\n")
    arrive("right")
    settle(inbox)
    assert [w.rush for w in inbox.waiting() if w.name == "wrong"] == [True]
    assert turns(inbox)[0] == "wrong"


def test_a_rush_that_comes_last_passes_a_queue_of_twenty(inbox: Inbox, arrive: Drop) -> None:
    queue = [f"queue-{number:02d}" for number in range(20)]
    for name in queue:
        arrive(name)
    settle(inbox)
    arrive("hurry", rush=True)
    settle(inbox, 2 * SETTLED)
    assert inbox.waiting()[0].name == "hurry"
    assert turns(inbox) == ["hurry", *queue]


# -- whole ------------------------------------------------------------------------------------------


def test_a_drop_is_not_taken_before_it_lies_still(inbox: Inbox, arrive: Drop) -> None:
    place = arrive("van")
    inbox.scan(0.0)
    assert inbox.next() is None
    (place / "lamps" / "0002.png").write_bytes(b"more")
    inbox.scan(SETTLED)
    assert inbox.next() is None
    inbox.scan(2 * SETTLED)
    ready = inbox.next()
    assert ready is not None and ready.name == "van"
    assert {name for name, *_ in ready.snapshot} == {"job.toml", "lamps/", "lamps/0001.png", "lamps/0002.png"}


def test_a_drop_known_to_be_whole_is_not_walked_again(inbox: Inbox, arrive: Drop, walks: Counter[str]) -> None:
    arrive("van")
    settle(inbox)
    (arrive("ferry") / "job.toml").unlink()
    for step in range(5):
        inbox.scan(2 * SETTLED + step / 10)
    assert walks["van"] == 2
    assert walks["ferry"] > 2, "still being looked at"


def test_after_a_claim_that_found_it_changed_it_is_looked_at_anew(
    inbox: Inbox, arrive: Drop, walks: Counter[str]
) -> None:
    place = arrive("van")
    arrive("zebra")
    settle(inbox)
    (place / "late.png").write_bytes(b"late")
    inbox.forget("van")
    inbox.scan(2 * SETTLED)
    assert walks["van"] == 3
    assert [d.name for d in [inbox.next()] if d] == ["zebra"], "it settles from the beginning"
    inbox.scan(3 * SETTLED)
    assert turns(inbox) == ["van", "zebra"], "and keeps its turn"


def test_a_drop_given_back_settles_from_the_beginning_even_if_it_looks_the_same(inbox: Inbox, arrive: Drop) -> None:
    arrive("van")
    settle(inbox)
    inbox.forget("van")
    inbox.scan(2 * SETTLED)
    assert inbox.next() is None
    inbox.scan(3 * SETTLED)
    assert turns(inbox) == ["van"]


def test_a_drop_taken_away_is_forgotten(inbox: Inbox, arrive: Drop, shop: Shop) -> None:
    place = arrive("van")
    settle(inbox)
    place.rename(shop.work / "van")
    inbox.scan(2 * SETTLED)
    assert inbox.next() is None
    assert inbox.is_empty() and inbox.waiting() == ()


def test_another_drop_of_a_taken_name_settles_for_itself(inbox: Inbox, arrive: Drop, shop: Shop) -> None:
    place = arrive("van")
    settle(inbox)
    place.rename(shop.work / "van")
    inbox.scan(2 * SETTLED)
    (shop.work / "van").rename(place)
    inbox.scan(2 * SETTLED + 0.05)
    assert inbox.next() is None


def test_an_inbox_that_is_not_there_is_the_callers_to_tell(inbox: Inbox, shop: Shop) -> None:
    shop.inbox.rmdir()
    with pytest.raises(OSError, match="No such file"):
        inbox.scan(0.0)


# -- many, and for long ------------------------------------------------------------------------------


def test_what_lies_still_without_being_whole_is_walked_more_and_more_seldom(
    inbox: Inbox, arrive: Drop, walks: Counter[str]
) -> None:
    (arrive("van") / "lamps" / "0002.png.part").write_bytes(b"")
    for second in range(1200):
        inbox.scan(float(second))
    assert 1200 / LONGEST_PAUSE_S <= walks["van"] < 1200 / LONGEST_PAUSE_S + 25


def test_a_file_that_comes_to_what_has_long_lain_still_is_seen_at_the_next_scan(
    inbox: Inbox, arrive: Drop, walks: Counter[str]
) -> None:
    """POSIX: a folder's time changes when a name in it comes or goes."""
    place = arrive("van")
    (place / "job.toml").rename(place / "job.toml.part")
    for second in range(600):
        inbox.scan(float(second))
    before = walks["van"]
    (place / "job.toml.part").rename(place / "job.toml")
    inbox.scan(600.0)
    assert walks["van"] == before + 1
    inbox.scan(600.0 + SETTLED)
    assert turns(inbox) == ["van"]


def test_a_change_deep_inside_is_seen_however_late_and_the_wait_starts_anew(inbox: Inbox, arrive: Drop) -> None:
    place = arrive("van")
    part = place / "lamps" / "0002.png.part"
    part.write_bytes(b"")
    for second in range(600):
        inbox.scan(float(second))
    part.write_bytes(b"more")
    for second in range(600, 600 + int(LONGEST_PAUSE_S) + 1):
        inbox.scan(float(second))
    assert inbox._settle.look("van", snapshot(place), 600.0 + LONGEST_PAUSE_S + 1).unchanged_s <= LONGEST_PAUSE_S + 1


def test_it_says_when_it_must_look_again_and_not_for_what_can_wait(inbox: Inbox, arrive: Drop) -> None:
    assert inbox.next_walk() == math.inf
    arrive("van")
    inbox.scan(0.0)
    assert 0.0 < inbox.next_walk() <= 0.1, "the fixture shop's settle time"
    inbox.scan(SETTLED)
    assert inbox.next_walk() == math.inf, "it is whole"
    (arrive("bare") / "more.part").write_bytes(b"")
    for second in range(20, 100):
        inbox.scan(float(second))
    assert inbox.next_walk() == math.inf, "the usual scan will do"


def test_of_many_the_first_are_told_and_all_are_counted(inbox: Inbox, shop: Shop) -> None:
    names = [f"van-{number:04d}.zip" for number in range(MOST_LISTED + 30)]
    for name in names:
        (shop.inbox / name).write_bytes(b"")
    inbox.scan(0.0)
    assert [w.name for w in inbox.waiting()] == names[:MOST_LISTED]
    assert len(inbox) == MOST_LISTED + 30


def test_what_is_told_stays_the_same_until_something_changes(inbox: Inbox, arrive: Drop, shop: Shop) -> None:
    arrive("van")
    settle(inbox)
    told = inbox.waiting()
    inbox.scan(SETTLED + 1)
    assert inbox.waiting() is told
    arrive("ferry")
    inbox.scan(SETTLED + 2)
    assert [w.name for w in inbox.waiting()] == ["van", "ferry"]
    inbox.hold("van", "its disk does not answer", SETTLED + 2)
    assert "its disk" in inbox.waiting()[0].note
    inbox.scan(SETTLED + 3 + HOLD_S)
    assert "its disk" not in inbox.waiting()[0].note
    shutil.rmtree(shop.inbox / "van")
    inbox.scan(SETTLED + 4 + HOLD_S)
    assert [w.name for w in inbox.waiting()] == ["ferry"]


def test_new_rules_for_names_hold_for_what_waits_already(
    inbox: Inbox, arrive: Drop, shop: Shop, rules: Rulebook
) -> None:
    arrive("van")
    arrive("ferry")
    settle(inbox)
    names = rules.intake.names.model_copy(update={"junk": ("van",)})
    intake = rules.intake.model_copy(update={"names": names})
    inbox.renew(settings.load(shop.root), rules.model_copy(update={"intake": intake}))
    inbox.scan(SETTLED + 1)
    assert turns(inbox) == ["ferry"]


# -- held -------------------------------------------------------------------------------------------


def test_a_drop_that_cannot_be_taken_waits_and_the_others_go_on(inbox: Inbox, arrive: Drop) -> None:
    for name in ("alder", "moss"):
        arrive(name)
    settle(inbox)
    inbox.hold("alder", "its disk does not answer", SETTLED)
    assert [d.name for d in [inbox.next()] if d] == ["moss"]
    assert {w.name: w.note for w in inbox.waiting()}["alder"] == "its disk does not answer"
    inbox.scan(SETTLED + HOLD_S - 1)
    assert [d.name for d in [inbox.next()] if d] == ["moss"]
    inbox.scan(SETTLED + HOLD_S + 1)
    assert turns(inbox) == ["alder", "moss"]


# -- what is no drop --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        ".hidden",
        ".keyturn-moving-1",
        ".DS_Store",
        "._van",
        "__MACOSX",
        "Thumbs.db",
        "desktop.ini",
        "$RECYCLE.BIN",
        "van.zip.part",
        "van.zip.crdownload",
        "van.tmp",
        "van.filepart",
        "~$van.zip",
    ],
)
def test_hidden_names_litter_and_names_half_copied_are_no_drops(
    inbox: Inbox, shop: Shop, arrive: Drop, walks: Counter[str], name: str
) -> None:
    """What desktop systems, browsers and sync programs leave (common practice, no source)."""
    arrive("van").rename(shop.inbox / name)
    settle(inbox)
    assert inbox.next() is None
    assert inbox.is_empty() and inbox.waiting() == ()
    assert not walks


def test_a_drop_is_one_once_its_copier_has_renamed_it(inbox: Inbox, shop: Shop) -> None:
    (shop.inbox / "van.zip.part").write_bytes(b"PK")
    settle(inbox)
    (shop.inbox / "van.zip.part").rename(shop.inbox / "van.zip")
    settle(inbox, 100.0)
    assert turns(inbox) == ["van.zip"]


def test_what_waits_is_told_with_its_files_and_why(inbox: Inbox, shop: Shop, arrive: Drop) -> None:
    arrive("van")
    (shop.inbox / "empty").mkdir()
    (shop.inbox / "bare").mkdir()
    (shop.inbox / "bare" / "1.png").write_bytes(b"x")
    inbox.scan(0.0)
    inbox.scan(0.2)  # between the shop's settle time and its longer one for drops without a manifest
    told = {w.name: w for w in inbox.waiting()}
    assert {name: w.files for name, w in told.items()} == {"van": 2, "empty": 0, "bare": 1}
    assert {name: w.note for name, w in told.items()} == {
        "van": "whole, waiting for its turn",
        "empty": "empty",
        "bare": "no job.toml yet",
    }
    assert {w.since for w in told.values()} == {"2026-03-01T09:30:00+00:00"}
    inbox.scan(1000.0)
    assert turns(inbox) == ["bare", "van"], "an empty folder is never taken"
