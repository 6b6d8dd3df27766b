"""The thread that makes drops, one at a time, so that the loop goes on looking and telling."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable

from loguru import logger

from keyturn.outbox.shop_state import waiting_in_work
from keyturn.service import abrupt_ends
from keyturn.service.backoff import Backoff
from keyturn.service.claims import Claim, Outcome
from keyturn.service.drop_maker import DropMaker
from keyturn.service.set_aside import SetAside
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.state_records import Working


class DropThreads:
    """`pending` holds claimed drops still to be made. `working` is the one in hand, or the one that a fault or a stop
    took from it. `doubtful` is set when a fault cut a step off: the folders must then be asked which drops are in work.

    `maker` returns a `DropMaker` with the rules of the moment. `stop` is asked between frames whether to give up.
    `stamp` returns the time as ISO 8601. `told` is called with each progress, and with None when a drop is done with;
    then `ended` is called.
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
        self.working: Working | None = None
        self._claim: Claim | None = None
        self.doubtful = False
        self._thread: threading.Thread | None = None

    def busy(self) -> bool:
        """Is a drop being made?"""
        return self._thread is not None and self._thread.is_alive()

    def start(self, claim: Claim) -> None:
        """Begin to make a claimed drop."""
        if claim in self.pending:
            self.pending.remove(claim)
        self._claim = claim
        self.working = Working(name=claim.name, stage="reading", done=0, total=0, since=self._stamp())
        thread = threading.Thread(target=self._work, args=(claim,), name="drop")
        try:
            thread.start()
            self._thread = thread
        except RuntimeError as error:  # no more threads or processes are allowed
            self.pending.append(claim)
            self._backoff.pause(ShopFault(f"the work cannot be started ({error})", "close programs, or raise TasksMax"))

    def renew(self, claims: Iterable[Claim]) -> None:
        """Take `claims` for all the drops in work."""
        self.pending = list(claims)
        if not self.busy() and self._claim is not None and self._claim.id not in {claim.id for claim in self.pending}:
            self.working = None

    def in_work(self) -> tuple[Working, ...]:
        """Return the drops in work that are not set aside, the one in hand first."""
        working, claim = self.working, self._claim
        others = [each for each in list(self.pending) if not self._aside.holds(each)]
        waiting = [waiting_in_work(each.name, each.claimed_at) for each in others if not working or each != claim]
        return ((working,) if working else ()) + tuple(waiting)

    def join(self, timeout: float | None = None) -> None:
        """Wait for the drop in hand, at most `timeout` seconds; without one as long as it takes."""
        if self._thread is not None:
            self._thread.join(timeout)

    def _work(self, claim: Claim) -> None:
        maker = self._maker(Progress(self._tell, self._stop))
        try:
            outcome = maker.process(claim)
            if outcome is not Outcome.STOPPED:
                self.working = None
                self._aside.went(claim, after_a_pause=bool(self._backoff.fault))
                self._backoff.over()
            if self.pending and outcome in (Outcome.READY, Outcome.REFUSED):
                abrupt_ends.note_other_through(maker.folders.shop.work, self.pending)
        except Exception as error:
            self._pause(maker, claim, error)
        finally:
            self._told(None)
            maker.bench.crew.shed()
            self._ended()

    def _tell(self, stage: str, done: int, total: int) -> None:
        if self.working is not None:
            self.working = self.working.model_copy(update={"stage": stage, "done": done, "total": total})
            self._told(self.working)

    def _pause(self, maker: DropMaker, claim: Claim, error: Exception) -> None:
        """Let the service wait where the machine is at fault. It does not wait where the fault is this drop's own.

        A bug of ours while the drop was moved counts as the drop's own: it stays in work, and the others go on.
        """
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
            self.working = None
