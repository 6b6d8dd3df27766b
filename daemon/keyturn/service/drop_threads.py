"""The threads that make drops, one for each, so that the loop goes on looking and telling."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from loguru import logger

from keyturn.outbox.shop_state import waiting_in_work
from keyturn.service import abrupt_ends
from keyturn.service.backoff import Backoff
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_maker import DropMaker
from keyturn.service.set_aside import SetAside
from keyturn.service.side_by_side import SharedTime, SideBySide
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.state_records import Working

GIVE_WAY_S = 0.05
"""Seconds between two looks at whether a drop in a rush is still being made."""


@dataclass(slots=True)
class _InHand:
    """A drop that is being made, or that a fault or a stop took from its thread. `is_over`: it has gone on.

    Threads change what is in here, the loop alone which drops are in hand.
    """

    claim: Claim
    working: Working
    goes_alone: bool
    thread: threading.Thread | None = None
    is_over: bool = False

    def is_made(self) -> bool:
        return self.thread is not None and self.thread.is_alive()


class Room(NamedTuple):
    """There is room for one more drop, `beside` others that are being made or not; only for small ones, or ones in a
    rush, where that is said.

    One drop at a time may be large: the service holds something of every frame. A drop in a rush is begun beside as
    many others as may be made at a time, and while it is made no other is begun.
    """

    beside: bool = True
    small: bool = False
    rush: bool = False


class DropThreads:
    """`pending` holds claimed drops still to be made. `doubtful` is set when a fault cut a step off: the folders must
    then be asked which drops are in work.

    `maker` returns a `DropMaker` with the rules of the moment. `stop` is asked between frames whether to give up.
    `stamp` returns the time as ISO 8601. `told` is called with each progress, and with None when a drop is done with;
    then `ended` is called. `side_by_side` keeps the drops apart.
    """

    def __init__(
        self,
        maker: Callable[[Progress], DropMaker],
        backoff: Backoff,
        aside: SetAside,
        stop: Callable[[], bool],
        stamp: Callable[[], str],
        told: Callable[[Working | None], None],
        ended: Callable[[], None],
    ) -> None:
        self._maker, self._backoff, self._stop, self._stamp = maker, backoff, stop, stamp
        self._aside, self._told, self._ended = aside, told, ended
        self.pending: list[Claim] = []
        self.doubtful = False
        self._in_hand: dict[str, _InHand] = {}
        self._time = SharedTime()
        self.side_by_side = SideBySide()

    def doubt(self) -> None:
        """Set `doubtful`."""
        self.doubtful = True

    def busy(self) -> bool:
        """Is any drop being made?"""
        return bool(self._made())

    def _made(self) -> list[_InHand]:
        return [each for each in self._in_hand.values() if each.is_made()]

    def room(self, most: int) -> Room | None:
        """Return which drops may be begun now, where `most` may be made at a time; None where none may."""
        made = self._made()
        if not made:
            return Room(beside=False)
        if self.doubtful or len(made) > most or any(each.goes_alone for each in made):
            return None
        small = not all(each.claim.is_small for each in made)
        rush = len(made) == most or any(each.claim.is_rush for each in made)
        return None if rush and most == 1 else Room(small=small, rush=rush)

    def start(self, claim: Claim) -> None:
        """Begin to make a claimed drop."""
        if claim in self.pending:
            self.pending.remove(claim)
        working = Working(name=claim.name, stage="reading", done=0, total=0, since=self._stamp())
        hand = _InHand(claim, working, self.goes_alone(claim))
        thread = threading.Thread(target=self._work, args=(hand,), name=f"drop {claim.name}")
        hand.thread = thread
        kept = {name: each for name, each in self._in_hand.items() if each.is_made() or not each.is_over}
        self._in_hand = kept | {claim.id: hand}  # never changed in place: the drops' threads look through it
        try:
            thread.start()
        except RuntimeError as error:  # no more threads or processes are allowed
            hand.thread = None
            self.pending.append(claim)
            self._backoff.pause(ShopFault(f"the work cannot be started ({error})", "close programs, or raise TasksMax"))

    def goes_alone(self, claim: Claim) -> bool:
        """Tell whether nothing may be made beside the drop: what goes wrong with it again must be seen to be its own
        fault."""
        return claim.tries > 0 or self._aside.knows(claim)

    def renew(self, claims: Iterable[Claim]) -> None:
        """Take `claims` for all the drops in work."""
        self.pending = list(claims)
        known = {claim.id for claim in self.pending}
        for hand in self._in_hand.values():
            hand.is_over = hand.is_over or (not hand.is_made() and hand.claim.id not in known)

    def in_work(self) -> tuple[Working, ...]:
        """Return the drops in work that are not set aside, those in hand first."""
        in_hand = [hand for hand in self._in_hand.values() if not hand.is_over]
        others = [each for each in list(self.pending) if each.id not in {hand.claim.id for hand in in_hand}]
        waiting = (waiting_in_work(each.name, each.claimed_at) for each in others if not self._aside.holds(each))
        return (*(hand.working for hand in in_hand), *waiting)

    def join(self, timeout: float | None = None) -> None:
        """Wait for the drops in hand, at most `timeout` seconds; without one as long as it takes."""
        ends_at = math.inf if timeout is None else time.monotonic() + timeout
        for hand in self._made():
            if hand.thread is not None:
                hand.thread.join(None if timeout is None else max(0.0, ends_at - time.monotonic()))

    def _work(self, hand: _InHand) -> None:
        claim = hand.claim

        def tell(stage: str, done: int, total: int) -> None:
            hand.working = hand.working.model_copy(update={"stage": stage, "done": done, "total": total})
            self._told(hand.working)

        def is_to_stop() -> bool:
            self._give_way(claim)
            return self._stop()

        maker = self._maker(Progress(tell, is_to_stop, self._time.now))
        self._time.begin()
        try:
            outcome = maker.process(claim)
            if outcome is not Outcome.STOPPED:
                hand.is_over = True
                self._aside.went(claim, after_a_pause=bool(self._backoff.fault))
                self._backoff.over()
            if self.pending and outcome in (Outcome.READY, Outcome.REFUSED):
                abrupt_ends.note_other_through(maker.folders.shop.work, self.pending)
        except Exception as error:
            self._pause(maker, hand, error)
        finally:
            self._time.end()
            self._told(None)
            maker.bench.crew.shed()
            self._ended()

    def _give_way(self, claim: Claim) -> None:
        """Wait while a drop in a rush is made, unless that one waits for another: it may be this one."""
        while not (claim.is_rush or self._stop() or self.side_by_side.somebody_waits()):
            if not any(each.claim.is_rush for each in self._made()):
                return
            time.sleep(GIVE_WAY_S)

    def _pause(self, maker: DropMaker, hand: _InHand, error: Exception) -> None:
        """Let the service wait where the machine is at fault. It does not wait where the fault is this drop's own.

        A bug of ours while the drop was moved counts as the drop's own: it stays in work, and the others go on.
        """
        claim = hand.claim
        maker.remove_scratch(claim)
        fault = error if isinstance(error, ShopFault) else None
        if isinstance(error, OSError):
            fault = shop_fault(error) or ShopFault(str(error), "put the shop's folders in order; the log tells more")
        maker.uncount_try(claim)
        if fault is not None:
            self.doubtful = True
        else:
            logger.opt(exception=error).error("{}: our own bug while moving it", claim.name)
            self.pending.append(claim)
        if not self._aside.add(claim, error, fault) and fault is not None:
            self._backoff.pause(fault)
        if self._aside.holds(claim):
            hand.is_over = True
