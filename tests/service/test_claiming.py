"""Scanning and claiming: what one drop or a fault does to the others."""

from __future__ import annotations

import errno
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keyturn.inbox.waiting import HOLD_S, Inbox
from keyturn.service.backoff import Backoff
from keyturn.service.claiming import Claimer
from keyturn.service.drop_folders import DropFolders
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.rulebook import Rulebook


def now() -> datetime:
    return datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


@pytest.fixture
def inbox(shop: Shop, rules: Rulebook) -> Inbox:
    """An inbox in which "ferry" and "van" are whole."""
    for name in ("ferry", "van"):
        (shop.inbox / name).mkdir()
        (shop.inbox / name / "job.toml").write_text('customer = "Fern Hollow Mobile Library"')
    made = Inbox(shop, settings.load(shop.root), rules, now)
    for at in (0.0, 100.0):
        made.scan(at)
    return made


@pytest.fixture
def backoff() -> Backoff:
    return Backoff(lambda: 100.0)


@pytest.fixture
def doubts() -> list[str]:
    """A line for each claim that may have been left half done."""
    return []


@pytest.fixture
def claimer(inbox: Inbox, shop: Shop, backoff: Backoff, doubts: list[str]) -> Claimer:
    return Claimer(inbox, DropFolders(shop, now), backoff, lambda: doubts.append("doubt"))


def refuse(monkeypatch: pytest.MonkeyPatch, name: str, number: int) -> None:
    """Makes moving inbox/<name> fail with the error `number`."""
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if self.name == name and self.parent.name == "inbox":
            raise OSError(number, "refused", str(self))
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)


def test_drops_are_claimed_one_after_the_other_until_none_is_left(claimer: Claimer, inbox: Inbox) -> None:
    claims = [claimer.claim_next(100.0) for _ in range(3)]
    assert [claim and claim.name for claim in claims] == ["ferry", "van", None]


def test_a_drop_that_changed_at_the_last_moment_waits_and_the_next_is_taken(claimer: Claimer, shop: Shop) -> None:
    (shop.inbox / "ferry" / "late.png").write_bytes(b"late")
    claim = claimer.claim_next(100.0)
    assert claim is not None and claim.name == "van"
    assert (shop.inbox / "ferry" / "late.png").exists()


def test_a_drop_that_may_not_be_moved_waits_with_a_note_and_the_next_is_taken(
    claimer: Claimer, inbox: Inbox, backoff: Backoff, doubts: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    refuse(monkeypatch, "ferry", errno.EACCES)
    claim = claimer.claim_next(100.0)
    assert claim is not None and claim.name == "van"
    assert doubts == ["doubt"] and backoff.fault == ""
    (note,) = [waiting.note for waiting in inbox.waiting() if waiting.name == "ferry"]
    assert "chmod -R g+w" in note
    for at in (101.0, 100.0 + HOLD_S - 1):
        inbox.scan(at)
        assert claimer.claim_next(at) is None, "it is not tried again at once"


def test_a_fault_of_the_disk_pauses_the_service_and_takes_nothing(
    claimer: Claimer, backoff: Backoff, doubts: list[str], shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    refuse(monkeypatch, "ferry", errno.ENOSPC)
    assert claimer.claim_next(100.0) is None
    assert doubts == ["doubt"] and "free some space" in backoff.fault
    assert (shop.inbox / "van").exists()


def test_an_inbox_that_cannot_be_read_is_reported_until_it_can(
    claimer: Claimer, backoff: Backoff, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    monkeypatch.setattr(backoff, "told", lambda fault: told.append(str(fault)))
    shop.inbox.rename(shop.root / "away")
    claimer.scan(101.0)
    claimer.scan(101.5)
    assert "put the folder back" in claimer.scan_fault
    assert told == [claimer.scan_fault]
    (shop.root / "away").rename(shop.inbox)
    claimer.scan(102.0)
    assert claimer.scan_fault == ""


def test_a_bug_of_ours_while_scanning_is_reported_and_does_not_end_the_service(
    claimer: Claimer, inbox: Inbox, backoff: Backoff, monkeypatch: pytest.MonkeyPatch
) -> None:
    def scan(at: float) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(inbox, "scan", scan)
    told: list[str] = []
    monkeypatch.setattr(backoff, "told", lambda fault: told.append(str(fault)))
    claimer.scan(101.0)
    claimer.scan(101.5)
    assert "ZeroDivisionError: a bug" in claimer.scan_fault
    assert told == [claimer.scan_fault]


def test_a_fault_that_only_one_drop_has_pauses_once_and_the_others_are_taken(
    claimer: Claimer, inbox: Inbox, backoff: Backoff, monkeypatch: pytest.MonkeyPatch
) -> None:
    """rename(2): EBUSY for a mount point."""
    refuse(monkeypatch, "ferry", errno.EBUSY)
    assert claimer.claim_next(100.0) is None and backoff.fault
    claim = claimer.claim_next(100.0)
    assert claim is not None and claim.name == "van"
    backoff.over()
    inbox.scan(101.0 + HOLD_S)
    inbox.scan(102.0 + HOLD_S)
    assert claimer.claim_next(102.0 + HOLD_S) is None
    assert backoff.fault == ""
    (note,) = [waiting.note for waiting in inbox.waiting() if waiting.name == "ferry"]
    assert "set aside" in note


def test_a_fault_that_every_drop_has_pauses_each_time(
    claimer: Claimer, inbox: Inbox, backoff: Backoff, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("ferry", "van"):
        refuse(monkeypatch, name, errno.ENOSPC)
    for at in (100.0, 101.0, 102.0 + HOLD_S, 103.0 + HOLD_S):
        backoff.over()
        inbox.scan(at)
        inbox.scan(at + 0.5)
        assert claimer.claim_next(at + 0.5) is None and backoff.fault
