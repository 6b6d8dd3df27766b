"""Which drop is made next: one in work that has a turn, then the first in the inbox, then one that must go last.

A drop that had a fault, or an abrupt end, is made alone: when it fails again, that is seen to be its own fault. So
while it waits for its turn nothing is begun beside the drops in hand.
"""

from __future__ import annotations

from collections.abc import Callable

from keyturn.inbox.waiting import Inbox
from keyturn.service.abrupt_ends import goes_last, next_in_turn, next_of_the_last
from keyturn.service.backoff import Backoff
from keyturn.service.claiming import Claimer
from keyturn.service.claims import Claim
from keyturn.service.drop_threads import DropThreads, Room
from keyturn.service.set_aside import SetAside


class Turns:
    """Chooses among the drops in work and those in the inbox. `monotonic` returns seconds."""

    def __init__(
        self,
        inbox: Inbox,
        claimer: Claimer,
        threads: DropThreads,
        aside: SetAside,
        backoff: Backoff,
        monotonic: Callable[[], float],
    ) -> None:
        self._inbox, self._claimer, self._threads = inbox, claimer, threads
        self._aside, self._backoff, self._monotonic = aside, backoff, monotonic
        self._opened_at = monotonic()

    def opened(self) -> None:
        """Note that the service begins to make drops now: those that go last wait from now on."""
        self._opened_at = self._monotonic()

    def next_claim(self, room: Room | None, settled_s: float) -> Claim | None:
        """Return the drop whose turn it is, taken from the inbox where it lay there; None where none has one.

        Within `settled_s` seconds of the service's start the inbox may hold drops that are not seen to be whole yet.
        """
        if room is None:
            return None
        return self._next_beside(room) if room.beside else self._next_alone(settled_s)

    def _next_beside(self, room: Room) -> Claim | None:
        """Return a drop that may be made beside those in hand. Where one waits that is to be made alone, none may."""
        turns = [claim for claim in self._aside.free(self._threads.pending) if self._aside.has_a_turn(claim)]
        if any(self._threads.goes_alone(claim) and not goes_last(claim) for claim in turns):
            return None
        fits = (claim for claim in turns if (claim.is_small or not room.small) and (claim.is_rush or not room.rush))
        free = (claim for claim in fits if not goes_last(claim))
        return next(free, None) or self._claimer.claim_next(self._monotonic(), small=room.small, rush=room.rush)

    def _next_alone(self, settled_s: float) -> Claim | None:
        now, free = self._monotonic(), self._aside.free(self._threads.pending)
        claim = next_in_turn(list(filter(self._aside.has_a_turn, free))) or self._claimer.claim_next(now)
        if claim is None and free and self._backoff.may_try():
            running_s = now - self._opened_at
            settled = self._inbox.is_empty() or running_s > settled_s
            claim = next_in_turn(free) or (next_of_the_last(free, running_s) if settled else None)
        return claim
