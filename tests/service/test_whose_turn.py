"""Which drop is made next, alone or beside others."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from keyturn.service.abrupt_ends import GOES_LAST
from keyturn.service.backoff import Backoff
from keyturn.service.claims import Claim
from keyturn.service.drop_threads import Room
from keyturn.service.set_aside import SetAside
from keyturn.service.whose_turn import Turns
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault
from samples import Clock

AT = datetime(2026, 3, 1, tzinfo=UTC).isoformat()
SETTLED_S = 10.0
ALONE, BESIDE = Room(beside=False), Room()


def claim(name: str, *, tries: int = 0, small: bool = True, rush: bool = False) -> Claim:
    of = {"id": f"20260301T093000-abc123-{name}", "name": name, "form": "folder", "claimed_at": AT}
    return Claim.model_validate({**of, "tries": tries, "is_small": small, "is_rush": rush})


class Bench:
    """Drops in work and in the inbox, and who is asked whose turn it is."""

    def __init__(self, shop: Shop, clock: Clock) -> None:
        self.inbox: list[Claim] = []
        self.pending: list[Claim] = []
        self.aside = SetAside(shop.work, lambda: AT, clock, lambda: 900.0)
        self.shop, self.clock = shop, clock
        threads: Any = SimpleNamespace(
            pending=self.pending, goes_alone=lambda claim: claim.tries > 0 or self.aside.knows(claim)
        )
        inbox: Any = SimpleNamespace(is_empty=lambda: not self.inbox)
        claimer: Any = SimpleNamespace(claim_next=self._claim_next)
        self.turns = Turns(inbox, claimer, threads, self.aside, Backoff(clock), clock)

    def _claim_next(self, now: float, *, small: bool = False, rush: bool = False) -> Claim | None:
        fits = (each for each in self.inbox if (each.is_small or not small) and (each.is_rush or not rush))
        found = next(fits, None)
        if found is not None:
            self.inbox.remove(found)
        return found

    def failed(self, claim: Claim) -> None:
        (self.shop.work / claim.id).mkdir()
        self.aside.add(claim, OSError(5, "Input/output error"), ShopFault("Input/output error"))

    def next(self, room: Room | None) -> str:
        found = self.turns.next_claim(room, SETTLED_S)
        return found.name if found else ""


@pytest.fixture
def bench(shop: Shop, clock: Clock) -> Bench:
    return Bench(shop, clock)


def test_nothing_is_begun_where_there_is_no_room(bench: Bench) -> None:
    bench.inbox.append(claim("van"))
    assert bench.next(None) == "" and len(bench.inbox) == 1


def test_those_in_work_go_before_the_inbox_and_those_that_ended_the_service_last(bench: Bench) -> None:
    bench.pending += [claim("killer", tries=GOES_LAST), claim("van")]
    bench.inbox.append(claim("bus"))
    assert bench.next(ALONE) == "van"
    bench.pending.pop()
    assert bench.next(ALONE) == "bus"
    bench.clock.at += SETTLED_S + 1
    assert bench.next(ALONE) == "killer"


def test_beside_a_large_drop_only_small_ones_are_begun(bench: Bench) -> None:
    bench.inbox += [claim("film", small=False), claim("van")]
    assert bench.next(Room(small=True)) == "van"
    assert bench.next(Room(small=True)) == ""
    assert bench.next(BESIDE) == "film"
    bench.pending.append(claim("film-two", small=False))
    assert bench.next(Room(small=True)) == ""
    assert bench.next(BESIDE) == "film-two"


def test_while_a_drop_waits_to_be_made_alone_none_is_begun_beside_others(bench: Bench) -> None:
    """Else there might always be another one in hand."""
    bench.pending.append(claim("ended-once", tries=1))
    bench.inbox.append(claim("bus"))
    assert bench.next(BESIDE) == ""
    assert bench.next(ALONE) == "ended-once"


def test_a_drop_that_had_a_fault_lets_others_through_first_and_is_then_made_alone(bench: Bench) -> None:
    faulty = claim("faulty")
    bench.failed(faulty)
    bench.pending.append(faulty)
    bench.inbox += [claim("bus"), claim("cart")]
    assert bench.next(ALONE) == "bus", "the others have their turn"
    bench.aside.went(claim("bus"), after_a_pause=False)
    assert bench.next(BESIDE) == "", "now it is its turn, with nothing beside"
    assert bench.next(ALONE) == "faulty"


def test_one_that_must_go_last_keeps_nobody_from_being_made_beside_others(bench: Bench) -> None:
    bench.pending.append(claim("killer", tries=GOES_LAST))
    bench.inbox.append(claim("bus"))
    assert bench.next(BESIDE) == "bus"
    assert bench.next(BESIDE) == ""


def test_where_there_is_room_for_a_rush_alone_no_other_is_begun(bench: Bench) -> None:
    bench.pending.append(claim("van"))
    bench.inbox += [claim("bus"), claim("hurry", rush=True)]
    assert bench.next(Room(rush=True)) == "hurry"
    assert bench.next(Room(rush=True)) == ""
    bench.pending.append(claim("hurry-again", rush=True))
    assert bench.next(Room(rush=True)) == "hurry-again"
