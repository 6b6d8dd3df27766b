"""Who is to blame when the service ends abruptly: the drop in hand, or the power."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.inbox.survey import snapshot
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench
from keyturn.service import abrupt_ends, recovery
from keyturn.service.abrupt_ends import GOES_LAST, MOST_ALONE, next_in_turn, next_of_the_last, wait_s
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_folders import DropFolders
from keyturn.service.drop_maker import DropMaker
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.shop.state_records import Working
from keyturn.workers.crew import InlineCrew
from samples import Drop
from shop_runs import lay, rejected, revisions

UNIT = Path(__file__).parents[2] / "systemd" / "keyturn.service"


@pytest.fixture
def maker(shop: Shop, bench: Bench) -> DropMaker:
    folders = DropFolders(shop, bench.now)
    return DropMaker(folders, Bookkeeping(shop, Ledger.opened(shop.state / "ledger.sqlite3")[0], bench.rules), bench)


@pytest.fixture
def claim(shop: Shop, drop: Drop, maker: DropMaker) -> Callable[[str], Claim]:
    """claim("van"): a sound drop of that name, taken from the inbox."""
    root = drop("sound", frames=1)

    def take(name: str) -> Claim:
        shutil.copytree(root, shop.inbox / name)
        return maker.folders.claim(name, snapshot(shop.inbox / name))

    return take


def end_abruptly(maker: DropMaker, claim: Claim) -> None:
    """Begin to make the drop, and be killed."""
    current = maker.folders.resume(claim.id)
    assert current is not None
    abrupt_ends.count_try(maker.folders.shop.work, current)
    recovery.recover(maker.folders)


def test_tries_are_counted_on_disk(shop: Shop, maker: DropMaker, claim: Callable[[str], Claim]) -> None:
    abrupt_ends.count_try(shop.work, claim("van"))
    (found,) = recovery.recover(maker.folders)
    assert found.tries == 1
    abrupt_ends.uncount_try(shop.work, found)
    assert recovery.recover(maker.folders)[0].tries == 0


def goes_through(maker: DropMaker, claim: Claim) -> None:
    assert maker.process(claim) is Outcome.READY
    abrupt_ends.note_other_through(maker.folders.shop.work, recovery.recover(maker.folders))


def outcome(maker: DropMaker, claim: Claim) -> Outcome:
    current = maker.folders.resume(claim.id)
    assert current is not None
    return maker.process(current)


def test_a_drop_on_which_the_power_failed_five_times_is_made(maker: DropMaker, claim: Callable[[str], Claim]) -> None:
    van = claim("van")
    for _ in range(5):
        end_abruptly(maker, van)
    assert outcome(maker, van) is Outcome.READY


def test_a_drop_that_ends_alone_while_others_go_through_is_refused(
    shop: Shop, maker: DropMaker, claim: Callable[[str], Claim]
) -> None:
    van = claim("van")
    for number in range(GOES_LAST + MOST_ALONE):
        goes_through(maker, claim(f"bus-{number}"))
        end_abruptly(maker, van)
    assert outcome(maker, van) is Outcome.REFUSED
    assert rejected(shop) == ["van"] and "drop-defeats-service" in (shop.rejects / "van" / "REJECTED.json").read_text()


def test_ends_that_other_drops_met_too_are_the_powers(maker: DropMaker, claim: Callable[[str], Claim]) -> None:
    van = claim("van")
    for number in range(GOES_LAST + MOST_ALONE):
        other = claim(f"bus-{number}")
        end_abruptly(maker, other)
        goes_through(maker, other)
        end_abruptly(maker, van)
    assert outcome(maker, van) is Outcome.READY


def test_two_drops_that_both_end_the_service_shield_each_other_only_at_first(
    maker: DropMaker, claim: Callable[[str], Claim]
) -> None:
    van, ferry = claim("van"), claim("ferry")
    for number in range(GOES_LAST + MOST_ALONE + 2):
        goes_through(maker, claim(f"bus-{number}"))
        for bad in (van, ferry):
            end_abruptly(maker, bad)
    assert outcome(maker, van) is outcome(maker, ferry) is Outcome.REFUSED


def test_a_try_that_failed_through_a_fault_of_the_machine_is_no_abrupt_end(
    maker: DropMaker, claim: Callable[[str], Claim]
) -> None:
    van = claim("van")
    for number in range(10):
        goes_through(maker, claim(f"bus-{number}"))
        current = maker.folders.resume(van.id)
        assert current is not None
        maker.uncount_try(abrupt_ends.count_try(maker.folders.shop.work, current))
    assert outcome(maker, van) is Outcome.READY


def test_after_the_second_abrupt_end_a_drop_goes_after_all_that_wait(
    shop: Shop, drop: Drop, maker: DropMaker, claim: Callable[[str], Claim]
) -> None:
    """The inbox's drops have still to settle when the service starts."""
    van = claim("van")
    for _ in range(GOES_LAST):
        end_abruptly(maker, van)
    for name in ("bus", "ferry"):
        lay(drop(name, frames=1), shop)
    made: list[str] = []

    def note(working: Working | None) -> None:
        if working and working.name not in made:
            made.append(working.name)

    Service(shop, on_progress=note, crew_of=lambda settings, rules: InlineCrew()).run(until_quiet=True)
    assert made == ["bus", "ferry", "van"]
    assert len(revisions(shop)) == 3 and not rejected(shop)


def claim_with(tries: int, name: str = "van") -> Claim:
    return Claim(id=f"20260301T093000-abc123-{name}", name=name, form="folder", claimed_at="", tries=tries)


def test_of_the_last_the_one_with_the_fewest_ends_goes_first_and_none_before_its_wait_is_over() -> None:
    pending = [claim_with(4, "van"), claim_with(1, "bus"), claim_with(2, "ferry")]
    assert next_in_turn(pending) == claim_with(1, "bus")
    assert next_in_turn(pending) is None
    assert next_of_the_last(pending, wait_s(claim_with(2)) / 2) is None
    assert next_of_the_last(pending, 1e9) == claim_with(2, "ferry")
    assert pending == [claim_with(4, "van")]


def test_a_drop_alone_in_the_shop_that_ends_the_service_at_once_never_meets_the_units_start_limit() -> None:
    """systemd.unit(5): more than StartLimitBurst= starts within StartLimitIntervalSec= and the unit stays down."""
    text = UNIT.read_text(encoding="utf-8")

    def value(key: str) -> int:
        found = re.search(rf"^{key}=(\d+)", text, re.MULTILINE)
        assert found
        return int(found[1])

    assert "StartLimitIntervalSec=10min" in text
    at, starts = 0.0, [0.0]
    for tries in range(1, 40):
        waited = wait_s(claim_with(tries)) if tries >= GOES_LAST else 0.0
        at += (waited if len(starts) > 1 else 0.0) + value("RestartSec")
        starts.append(at)
    assert all(sum(a <= b < a + 600 for b in starts) <= value("StartLimitBurst") for a in starts)
