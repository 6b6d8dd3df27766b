"""The status of the running service: the board, the state file and the line for the service manager."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass

from loguru import logger

from keyturn.outbox import shop_state
from keyturn.outbox.customer_folder import file_state
from keyturn.outbox.ledger import Ledger
from keyturn.service.systemd import Notifier
from keyturn.shop.folders import Shop
from keyturn.shop.state_records import AsideDrop, ShopState, Waiting, Working

BOARD_EVERY_S = 2.0
"""Shortest time between two writings of the board, in seconds."""

BOARD_AT_LEAST_EVERY_S = 60.0
"""The board carries its time of writing: older than this, in seconds, it would look as if the service had stopped."""


@dataclass(frozen=True, slots=True)
class LoopState:
    """What the loop knows at this moment and the folders do not show.

    `paused` is the reason, or empty. `watching` says how changes in the inbox are noticed. `waiting` are the next
    drops of the `waiting_total` in the inbox. `hook_faults` say how hooks failed at their last run.
    `aside` are the drops that wait for somebody to mend them.
    """

    paused: str
    watching: str
    waiting: tuple[Waiting, ...]
    waiting_total: int
    working: Working | None
    hook_faults: tuple[str, ...] = ()
    aside: tuple[AsideDrop, ...] = ()


class StatusWriter:
    """Writes the shop's state when it changed, but not too often. A failure is logged and never ends the service.

    `stamp` returns the time as ISO 8601, `monotonic` seconds.
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
        self._postponed = False

    def state(self, loop: LoopState) -> ShopState:
        """Return the shop's state: what the loop knows, and the newest results from the ledger."""
        ready_total, refused_total = self._ledger.counts()
        return ShopState(
            at=self._stamp(),
            running=True,
            pid=os.getpid(),
            paused=loop.paused or None,
            watching=loop.watching,
            waiting=loop.waiting,
            working=(loop.working,) if loop.working else (),
            ready=self._ledger.ready(),
            refused=self._ledger.refused(),
            hook_faults=loop.hook_faults,
            aside=loop.aside,
            waiting_total=loop.waiting_total,
            ready_total=ready_total,
            refused_total=refused_total,
        )

    def write_if_due(self, loop: LoopState) -> None:
        """Write board, state file and status line where the state changed, and once a minute in any case.

        Within `BOARD_EVERY_S` of the last writing it is postponed; `due_in_s` then says for how long.
        """
        now = self._monotonic()
        self._postponed = now - self._written_at < BOARD_EVERY_S
        if self._postponed:
            return
        try:
            self._forget_removed_folders()
            state = self.state(loop)
            same = self._written is not None and state == self._written.model_copy(update={"at": state.at})
            if same and now - self._written_at < BOARD_AT_LEAST_EVERY_S:
                return
            self._write(state)
        except (OSError, ValueError) as error:  # ValueError: a name that cannot be written as UTF-8
            logger.warning("the board cannot be written: {}", error)
            return
        self._written_at, self._written = now, state
        self._notifier.status(shop_state.status_line(state))

    def due_in_s(self) -> float:
        """Return in how many seconds the postponed writing is due; infinite where none was postponed."""
        return self._written_at + BOARD_EVERY_S - self._monotonic() if self._postponed else math.inf

    def announce_pause(self, fault: str) -> None:
        """Tell the service manager alone that the start waits: nothing can be written in a shop that is not open.

        READY=1 goes first. Without it the manager would end a start that waits longer than TimeoutStartSec=.
        """
        self._notifier.ready()
        self._notifier.status(f"Paused: {fault}")

    def write_stopped(self, loop: LoopState) -> None:
        """Write board and state file for the last time: the service no longer runs."""
        try:
            self._write(self.state(loop).model_copy(update={"running": False, "pid": None}))
        except (OSError, ValueError) as error:
            logger.warning("the board cannot be written: {}", error)

    def _write(self, state: ShopState) -> None:
        shop_state.write_state(self._shop, state)
        shop_state.write_board(self._shop, state)

    def _forget_removed_folders(self) -> None:
        """Remove from the ledger the rejects and revisions that people have moved away since."""
        root, outbox = str(self._shop.root), str(self._shop.outbox)  # str: a Path for each, every 2 s, costs more
        self._ledger.drop_refused(r.path for r in self._ledger.refused() if file_state(f"{root}/{r.path}") is None)
        self._ledger.drop_ready(r.path for r in self._ledger.ready() if file_state(f"{outbox}/{r.path}") is None)
