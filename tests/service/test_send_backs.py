"""Drops that go back to the inbox, and those that do not."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from keyturn.inbox.doubts import Doubts
from keyturn.inbox.survey import snapshot
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_folders import DropFolders
from keyturn.service.send_backs import SendBacks
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import refuse


@pytest.fixture
def back(shop: Shop) -> SendBacks:
    return SendBacks(DropFolders(shop, lambda: datetime(2026, 3, 1, tzinfo=UTC)), Doubts((60.0,)))


@pytest.fixture
def claim(shop: Shop, back: SendBacks) -> Claim:
    drop = shop.inbox / "van"
    drop.mkdir()
    (drop / "job.toml").write_text('customer = "Fern Hollow Mobile Library"\n')
    (drop / "0001.png").touch()
    return back.folders.claim("van", snapshot(drop))


def test_a_drop_that_is_as_it_was_stays_in_work(back: SendBacks, claim: Claim) -> None:
    assert back.if_changed(claim, back.folders.artist_snapshot(claim)) is None
    assert back.folders.artist_path(claim).is_dir()


def test_a_drop_that_got_another_file_goes_back_with_it(shop: Shop, back: SendBacks, claim: Claim) -> None:
    before = back.folders.artist_snapshot(claim)
    (back.folders.artist_path(claim) / "0002.png").write_bytes(b"late")
    assert back.if_changed(claim, before) is Outcome.RETURNED
    assert (shop.inbox / "van" / "0002.png").read_bytes() == b"late"
    assert list(shop.work.iterdir()) == []


def test_a_drop_with_an_empty_picture_goes_back_once_and_then_no_more(
    shop: Shop, back: SendBacks, claim: Claim
) -> None:
    """`[settle] doubt_seconds` names one wait here."""
    reasons = [refuse("picture-empty", "is empty (0 bytes)", "copy it again", file="0001.png")]

    def tried(claim: Claim) -> Outcome | None:
        place = back.folders.artist_path(claim)
        return back.if_arriving(claim, back.folders.artist_snapshot(claim), reasons, place)

    assert tried(claim) is Outcome.RETURNED
    again = back.folders.claim("van", snapshot(shop.inbox / "van"))
    assert tried(again) is None and back.folders.artist_path(again).is_dir()


def test_a_drop_with_another_fault_is_not_sent_back(back: SendBacks, claim: Claim) -> None:
    before = back.folders.artist_snapshot(claim)
    reasons = [refuse("customer-unknown", "names no customer", "write one", file="job.toml")]
    assert back.if_arriving(claim, before, reasons, back.folders.artist_path(claim)) is None
    assert back.folders.artist_path(claim).is_dir()
