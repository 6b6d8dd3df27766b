"""What the service says of itself: the board, the state file and the line for the service manager."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass

from loguru import logger

from keyturn.outbox import papers
from keyturn.outbox.customer_folder import state_of
from keyturn.outbox.ledger import Ledger
from keyturn.service.systemd import Notifier
from keyturn.shop.folders import Shop
from keyturn.shop.records import ShopState, Waiting, Working

BOARD_EVERY_S = 2.0
BOARD_AT_LEAST_EVERY_S = 60.0


@dataclass(frozen=True, slots=True)
class Known:
    """What the loop knows at this moment and the folders do not tell; `paused` is why, or empty. Of `waiting_total`
    drops `waiting` are the next."""

    paused: str
    watching: str
    waiting: tuple[Waiting, ...]
    waiting_total: int
    working: Working | None


class Telling:
    """Writes the shop's state down, when something changed and not too often. Nothing here ends the service.

    `stamp` gives the time as ISO 8601, `monotonic` seconds.
    """

    def __init__(
        self,
        shop: Shop,
        ledger: Ledger,
        notifier: Notifier,
        stamp: Callable[[], str],
        monotonic: Callable[[], float],
    ) -> None:
        self._shop, self._ledger, self._notifier = shop, ledger, notifier
        self._stamp, self._monotonic = stamp, monotonic
        self._written_at = -BOARD_AT_LEAST_EVERY_S
        self._written: ShopState | None = None
        self._put_off = False

    def state(self, known: Known) -> ShopState:
        ready_total, refused_total = self._ledger.counts()
        return ShopState(
            at=self._stamp(),
            running=True,
            pid=os.getpid(),
            paused=known.paused or None,
            watching=known.watching,
            waiting=known.waiting,
            working=(known.working,) if known.working else (),
            ready=self._ledger.ready(),
            refused=self._ledger.refused(),
            waiting_total=known.waiting_total,
            ready_total=ready_total,
            refused_total=refused_total,
        )

    def show(self, known: Known) -> None:
        now = self._monotonic()
        self._put_off = now - self._written_at < BOARD_EVERY_S
        if self._put_off:
            return
        try:
            self._forget_taken_away()
            state = self.state(known)
            same = self._written is not None and state == self._written.model_copy(update={"at": state.at})
            if same and now - self._written_at < BOARD_AT_LEAST_EVERY_S:
                return
            self._write(state)
        except (OSError, ValueError) as error:  # what cannot be written down must not end the service either
            logger.warning("the board cannot be written: {}", error)
            return
        self._written_at, self._written = now, state
        self._notifier.status(papers.status_line(state))

    def due_s(self) -> float:
        """In how many seconds to show what could not be shown because it was too soon; infinite where nothing was."""
        return self._written_at + BOARD_EVERY_S - self._monotonic() if self._put_off else math.inf

    def paused(self, fault: str) -> None:
        """Before the shop can be opened nothing can be written in it: the service manager alone hears."""
        self._notifier.ready()  # it runs, and waits
        self._notifier.status(f"Paused: {fault}")

    def last(self, known: Known) -> None:
        """The service ends."""
        try:
            self._write(self.state(known).model_copy(update={"running": False, "pid": None}))
        except (OSError, ValueError) as error:
            logger.warning("the board cannot be written: {}", error)

    def _write(self, state: ShopState) -> None:
        papers.write_state(self._shop, state)
        papers.write_board(self._shop, state)

    def _forget_taken_away(self) -> None:
        """Rejects are dragged back to the inbox and ready folders taken away by hand."""
        root, outbox = str(self._shop.root), str(self._shop.outbox)  # asked every few seconds: no Path for each
        self._ledger.drop_refused(r.path for r in self._ledger.refused() if state_of(f"{root}/{r.path}") is None)
        self._ledger.drop_ready(r.path for r in self._ledger.ready() if state_of(f"{outbox}/{r.path}") is None)
