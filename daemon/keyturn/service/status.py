"""The status of the running service: the board, the state file and the line for the service manager."""

from __future__ import annotations

import errno
import math
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from loguru import logger

from keyturn.outbox import shop_state, standings
from keyturn.outbox.customer_folder import file_state
from keyturn.outbox.fleet_counts import fleets
from keyturn.outbox.ledger import Ledger
from keyturn.outbox.ledger_rows import MadeFor
from keyturn.service.disk_reserve import DiskReserve
from keyturn.service.systemd import Notifier
from keyturn.shop.folders import Shop
from keyturn.shop.papers import Letterhead
from keyturn.shop.state_records import AsideDrop, ShopState, Waiting, Working

BOARD_EVERY_S = 2.0
"""Shortest time between two writings of the board, in seconds."""

BOARD_AT_LEAST_EVERY_S = 60.0
"""The board carries its time of writing: older than this, in seconds, it would look as if the service had stopped."""

FOLLOW_EVERY_S = 10.0
"""What was written beside revisions by others than the service is looked for so often, in seconds."""

MOST_READY = 1000
"""So many of the newest revisions are listed and looked at for such writing. `Bookkeeping.reconcile` looks at all."""

MOST_WATCHED = 100
"""So many of the newest revisions are looked for at each writing, in case somebody took them away."""


@dataclass(frozen=True, slots=True)
class LoopState:
    """What the loop knows at this moment and the folders do not show.

    `paused` is the reason, or empty. `watching` says how changes in the inbox are noticed. `waiting` are the next
    drops of the `waiting_total` in the inbox. `hook_faults` say how hooks failed at their last run.
    `aside` are the drops that wait for somebody to mend them. `settings_fault` says what is wrong with settings or
    rules that were to be read again, or is empty. `removal_waits` says why nothing old is removed, or is empty.
    `letterhead` goes on the board. `approval`: no job may go on a stick without the customer's yes.
    """

    paused: str
    watching: str
    waiting: tuple[Waiting, ...]
    waiting_total: int
    working: tuple[Working, ...]
    hook_faults: tuple[str, ...] = ()
    aside: tuple[AsideDrop, ...] = ()
    settings_fault: str = ""
    removal_waits: str = ""
    letterhead: Letterhead = field(default_factory=Letterhead)
    approval: bool = False


class StatusWriter:
    """Writes the shop's state when it changed, but not too often. A failure is logged and never ends the service.

    `stamp` returns the time as ISO 8601, `monotonic` seconds. Set `is_ours` once the shop's lock is held: before, the
    files are another service's.
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
        self._letterhead = self._written_letterhead = Letterhead()
        self._followed_at = -math.inf
        self._postponed = False
        self._reserve = DiskReserve(shop.state / "reserve")
        self._fault = ""
        self.is_ours = False

    def state(self, loop: LoopState) -> ShopState:
        """Return the shop's state: what the loop knows, and the newest results from the ledger."""
        return self._results(loop.approval).model_copy(
            update={
                "paused": loop.paused or None,
                "settings_fault": loop.settings_fault or None,
                "removal_waits": loop.removal_waits or None,
                "watching": loop.watching,
                "waiting": loop.waiting,
                "working": loop.working,
                "hook_faults": loop.hook_faults,
                "aside": loop.aside,
                "waiting_total": loop.waiting_total,
            }
        )

    def _results(self, approval: bool) -> ShopState:
        """Return a state with the newest results alone; those that were known last where the ledger cannot be read."""
        running = ShopState(at=self._stamp(), running=True, pid=os.getpid())
        try:
            self._forget_removed_folders()
            self._follow_jobs()
            ready_total, refused_total = self._ledger.counts()
            jobs, places = standings.jobs(self._ledger, approval=approval, now=datetime.fromisoformat(running.at))
            ready = self._ledger.ready(MOST_READY)
            found = {
                "ready": ready,
                "refused": self._ledger.refused(),
                "jobs": jobs,
                "places": places,
                "fleets": fleets(self._ledger, jobs),
            }
        except (OSError, ValueError) as error:
            logger.debug("the ledger cannot be read for the board: {}", error)
            last = self._written or self._last()
            ready_total, refused_total = last.ready_total, last.refused_total
            found = {name: getattr(last, name) for name in ("ready", "refused", "jobs", "places", "fleets")}
        return running.model_copy(update={**found, "ready_total": ready_total, "refused_total": refused_total})

    def _last(self) -> ShopState:
        """Return the state that an earlier service wrote last, or an empty one."""
        try:
            return shop_state.read_state(self._shop) or shop_state.state_of_folders(self._shop)
        except OSError:
            return ShopState(at=self._stamp(), running=False)

    def write_if_due(self, loop: LoopState) -> None:
        """Write board, state file and status line where the state changed, and once a minute in any case.

        Within `BOARD_EVERY_S` of the last writing it is postponed; `due_in_s` then says for how long.
        """
        now = self._monotonic()
        self._postponed = now - self._written_at < BOARD_EVERY_S
        if self._postponed:
            return
        state = self.state(loop)
        self._letterhead = loop.letterhead
        same = self._written is not None and state == self._written.model_copy(update={"at": state.at})
        same = same and self._letterhead == self._written_letterhead
        if same and now - self._written_at < BOARD_AT_LEAST_EVERY_S:
            return
        self._notifier.status(shop_state.status_line(state))
        if self._write(state):
            self._written_at, self._written, self._written_letterhead = now, state, self._letterhead

    def due_in_s(self) -> float:
        """Return in how many seconds the postponed writing is due; infinite where none was postponed."""
        return self._written_at + BOARD_EVERY_S - self._monotonic() if self._postponed else math.inf

    def announce_pause(self, fault: str) -> None:
        """Tell the service manager that the start waits; board and state file too, once the shop's lock is held.

        READY=1 goes first. Without it the manager would end a start that waits longer than TimeoutStartSec=.
        """
        self._notifier.ready()
        self._notifier.status(f"Paused: {fault}")
        if self.is_ours:
            paused = {
                "at": self._stamp(),
                "running": True,
                "pid": os.getpid(),
                "paused": fault,
                "settings_fault": None,
                "hook_faults": (),
                "working": shop_state.in_work(self._shop),
                "aside": shop_state.aside(self._shop),
            }
            self._write(self._last().model_copy(update=paused))

    def write_stopped(self, loop: LoopState) -> None:
        """Write board and state file for the last time: the service no longer runs."""
        self._letterhead = loop.letterhead
        self._write(self.state(loop).model_copy(update={"running": False, "pid": None}))

    def _write(self, state: ShopState) -> bool:
        """Write state file and board. Return whether that worked; log why not, once for each reason."""
        try:
            self._write_with_reserve(state)
        except (OSError, ValueError) as error:  # ValueError: a name that cannot be written as UTF-8
            fault = getattr(error, "strerror", None) or str(error)  # without the name of the half-written file
            if fault != self._fault:
                logger.warning("the board cannot be written: {}", error)
            self._fault = fault
            return False
        self._fault = ""
        return True

    def _write_with_reserve(self, state: ShopState) -> None:
        try:
            self._write_both(state)
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT) or not self._reserve.give_up():
                raise
            self._write_both(state)
        self._reserve.lay_down()

    def _write_both(self, state: ShopState) -> None:
        shop_state.write_state(self._shop, state)
        shop_state.write_board(self._shop, state, self._letterhead)

    def _forget_removed_folders(self) -> None:
        """Remove from the ledger the rejects and revisions that people have moved away since."""
        root, outbox = str(self._shop.root), str(self._shop.outbox)  # str: a Path for each, every 2 s, costs more
        self._ledger.drop_refused(r.path for r in self._ledger.refused() if file_state(f"{root}/{r.path}") is None)
        newest = self._ledger.ready(MOST_READY)[:MOST_WATCHED]
        self._ledger.drop_ready(r.path for r in newest if file_state(f"{outbox}/{r.path}") is None)

    def _follow_jobs(self) -> None:
        """Enter what people with the rights for it wrote beside revisions that are on the board."""
        now = self._monotonic()
        if now - self._followed_at >= FOLLOW_EVERY_S:
            self._followed_at = now
            shown = {row.path: MadeFor(row.radios, row.vehicles) for row in self._ledger.ready(MOST_READY)}
            standings.follow(self._ledger, self._shop.outbox, shown)
