"""The service: scan, settle, claim, make, publish or reject, for as long as it is wanted.

The loop scans the inbox, claims the next drop where there is room for one more, answers signals and the watchdog, and
keeps the board. Each drop is made by a thread of its own, with the crew's workers.
Handlers of signals and of changes in the inbox only set flags. Clocks are passed in.
"""

from __future__ import annotations

import math
import os
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime

from loguru import logger

from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import frame_crew
from keyturn.service import recovery
from keyturn.service.announcer import Announcer
from keyturn.service.backoff import Backoff
from keyturn.service.bookkeeping import Bookkeeping
from keyturn.service.claiming import Claimer
from keyturn.service.configuration import Configuration, CrewOf
from keyturn.service.drop_folders import DropFolders
from keyturn.service.drop_maker import DropMaker
from keyturn.service.drop_threads import DropThreads
from keyturn.service.reloading import Reloading
from keyturn.service.set_aside import SetAside
from keyturn.service.start_up import StartUp
from keyturn.service.status import LoopState, StatusWriter
from keyturn.service.systemd import Notifier
from keyturn.service.upkeep import Upkeep
from keyturn.service.whose_turn import Turns
from keyturn.shop.file_modes import group_reads
from keyturn.shop.folders import Shop
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.settings import Settings
from keyturn.shop.state_records import ShopState, Working

WORKERS_REST_AFTER_S = 60.0
"""The workers are ended, and their memory freed, when no drop was made for so long, in seconds."""

CALM_S = 5.0
"""A pause counts as over when nothing failed for so long, in seconds, beyond the time a drop needs to settle."""

STOP_S = 35.0
"""A stop takes at most so long, in seconds: less than the unit's TimeoutStopSec. Of that, the frame in hand has
`FRAME_S` and the hooks that wait have `HOOKS_S`; then the workers are killed."""

FRAME_S, HOOKS_S = 10.0, 5.0

LONGEST_NAP_S = 1.0
"""While a drop is made the loop wakes at least so often, in seconds."""


class Service:
    """The service of one shop. `run` returns after `stop`, which a signal handler may call.

    `on_progress` is called with a drop in hand as its work goes on, and with None when one is done with;
    `on_settings` with the settings, once they are read. `crew_of` makes the crew for settings and rules.
    """

    def __init__(
        self,
        shop: Shop,
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        monotonic: Callable[[], float] = time.monotonic,
        notifier: Notifier | None = None,
        on_progress: Callable[[Working | None], None] = lambda working: None,
        crew_of: CrewOf = frame_crew,
        on_settings: Callable[[Settings], None] = lambda wanted: None,
    ) -> None:
        self._shop, self._now, self._monotonic = shop, now, monotonic
        self._crew_of, self._on_settings = crew_of, on_settings
        self._notifier = notifier or Notifier.from_env(os.environ)
        self._stopping, self._wake = threading.Event(), threading.Event()
        self._announcer = Announcer()
        self._backoff = Backoff(monotonic, self._announcer.paused)
        self._reloading = Reloading(self._backoff, self._notifier)
        self._folders = DropFolders(shop, now)
        self._ledger = Ledger(shop.state / "ledger.sqlite3")
        self._status = StatusWriter(shop, self._ledger, self._notifier, self._stamp, monotonic)
        self._start_up = StartUp(self._backoff, self._status, self._notifier, self._stopping.is_set, self._nap)
        self._upkeep = Upkeep(shop, self._ledger, now, monotonic, self._start_up.ask_for_time)
        aside = SetAside(shop.work, self._stamp, monotonic, lambda: 60 * self._config.settings.retry_aside_minutes)
        self._drop_threads = DropThreads(
            self._drop_maker, self._backoff, aside, self._stopping.is_set, self._stamp, on_progress, self._work_ended
        )
        self._aside, self._side_by_side = aside, self._drop_threads.side_by_side
        self._scan_needed = False  # a drop that was in work may have gone back to the inbox since the last scan
        self._idle_since = monotonic()

    # -- called from other threads and signal handlers --------------------------------------------

    def stop(self) -> None:
        """End the service soon. The drops in hand stay in work until the next start."""
        self._stopping.set()
        self._wake.set()

    def reload(self) -> None:
        """Read settings and rules again when the drops in hand are done."""
        self._reloading.ask()
        self._wake.set()

    # -- starting -----------------------------------------------------------------------------------

    def run(self, *, until_quiet: bool = False) -> None:
        """Serve the shop until `stop`, or with `until_quiet` until nothing is left to do.

        Raise `ShopFault` where there is no shop, its settings or rules are wrong, or another service has it.
        Wait for the disk, or for a folder that is not mounted yet, and try again after any other fault.
        """
        with ExitStack() as stack:
            stack.enter_context(group_reads())
            self._start_up.do(lambda: stack.enter_context(self._shop.held()))
            self._status.is_ours = True
            self._start_up.do(self._shop.require)
            self._start_up.do(self._set_up)
            if self._stopping.is_set():
                return
            try:
                self._start_up.do(self._open)
                while not self._stopping.is_set():
                    self._round()
                    if until_quiet and self._is_quiet():
                        break
                    self._nap(self._nap_s())
            finally:
                self._close()

    def _set_up(self) -> None:
        self._config = Configuration(self._shop, self._now, self._crew_of, self._on_settings, self._wake.set)
        self._announcer.renew(self._config.settings)
        self._inbox = self._config.inbox
        alive = self._start_up.ask_for_time
        claimer = Claimer(self._inbox, self._folders, self._backoff, self._drop_threads.doubt, alive)
        self._claimer = claimer
        self._turns = Turns(self._inbox, claimer, self._drop_threads, self._aside, self._backoff, self._monotonic)

    def _open(self) -> None:
        Ledger.opened(self._shop.state / "ledger.sqlite3")
        self._recover()
        if self._drop_threads.pending:
            logger.info("{} drops were in work; they are made again", len(self._drop_threads.pending))
        self._reconcile()
        self._config.watch.start()
        self._turns.opened()
        self._start_up.end()
        logger.info("watching {} ({})", self._shop.inbox, self._config.watch.description)

    # -- the loop -----------------------------------------------------------------------------------

    def _round(self) -> None:
        """Do once everything that is due."""
        if self._reloading.is_due() and self._may_work():
            self._reloading.do(self._config)
            self._announcer.renew(self._config.settings)
        self._config.watch.check()
        self._scan_needed = False
        self._claimer.scan(self._monotonic())
        if self._may_work() and self._drop_threads.doubtful:
            self._or_pause(self._recover_again)
        if self._backoff.may_try() and not self._drop_threads.doubtful:
            self._or_pause(lambda: self._side_by_side.if_nothing_moves(self._keep_up))
        if self._backoff.may_try() and not self._reloading.is_due():
            self._start_next()
        if self._may_work():
            self._end_pause_if_calm()
        self._rest_workers_if_idle()
        self._status.write_if_due(self._loop_state())
        self._start_up.show_life()

    def _may_work(self) -> bool:
        """Return whether no drop is being made and the service is not paused."""
        return not self._drop_threads.busy() and self._backoff.may_try()

    def _recover_again(self) -> None:
        """Recover where a step failed half-way."""
        self._recover()
        self._drop_threads.doubtful, self._scan_needed = False, True
        self._upkeep.reconcile_soon()

    def _or_pause(self, work: Callable[[], None]) -> None:
        try:
            work()
        except OSError as error:
            self._backoff.pause(shop_fault(error) or ShopFault(str(error)))

    def _recover(self) -> None:
        self._drop_threads.renew(recovery.recover(self._folders, self._start_up.ask_for_time))
        self._aside.renew(self._drop_threads.pending)

    def _keep_up(self) -> None:
        self._upkeep.reconcile_if_due(self._reconcile)
        self._upkeep.remove_old_if_due(self._config.settings.keep)

    def _reconcile(self) -> None:
        self._books().reconcile(self._start_up.ask_for_time)

    def _start_next(self) -> None:
        room = self._drop_threads.room(self._config.settings.drops_at_once)
        claim = self._turns.next_claim(room, self._config.settings.settle.seconds + CALM_S)
        if claim is not None:
            self._drop_threads.start(claim)
            self._wake.set()  # there may be room for another one

    def _end_pause_if_calm(self) -> None:
        """Forget the last fault when everything is caught up and nothing has failed since.

        The drop on which it happened may have to settle again before it is tried: wait so long for it.
        """
        now = self._monotonic()
        if self._drop_threads.busy() or self._aside.free(self._drop_threads.pending) or self._in_doubt():
            return
        calm = now - self._backoff.retry_at > self._config.settings.settle.seconds + CALM_S
        if self._backoff.may_try() and (self._inbox.is_empty() or calm):
            self._backoff.over()

    def _in_doubt(self) -> bool:
        """Return whether the folders must be looked through: a step was left half done, or the ledger is behind."""
        return self._drop_threads.doubtful or not self._upkeep.is_reconciled()

    def _is_quiet(self) -> bool:
        """Return whether nothing is waiting, in work or in doubt, but for what is set aside."""
        in_doubt = self._scan_needed or self._in_doubt() or self._claimer.scan_fault
        busy = self._drop_threads.busy() or self._aside.free(self._drop_threads.pending)
        return not in_doubt and not busy and self._inbox.is_empty()

    def _nap(self, seconds: float) -> None:
        """Sleep until woken, for at most `seconds` and at most half the watchdog's time."""
        self._wake.wait(min(seconds, self._notifier.watchdog_interval_s or seconds))
        self._wake.clear()

    def _nap_s(self) -> float:
        """Return how long to sleep, in seconds: until a drop must be looked at, a pause ends or the board is due."""
        if self._drop_threads.room(self._config.settings.drops_at_once) is None:
            return LONGEST_NAP_S
        now = self._monotonic()
        retry_s = math.inf if self._backoff.may_try() else self._backoff.retry_at - now
        soonest_s = min(self._inbox.next_walk() - now, retry_s, self._status.due_in_s())
        longest_s = LONGEST_NAP_S if self._drop_threads.busy() else self._config.settings.scan_seconds
        return min(longest_s, max(0.05, soonest_s))

    # -- making drops -------------------------------------------------------------------------------

    def _drop_maker(self, progress: Progress) -> DropMaker:
        books, bench, told = self._books(), self._config.bench(progress), self._announcer.outcome
        missed, doubts, beside = self._upkeep.reconcile_soon, self._inbox.doubts, self._side_by_side
        return DropMaker(self._folders, books, bench, missed, told, doubts, beside, rules_changed=self.reload)

    def _books(self) -> Bookkeeping:
        return Bookkeeping(self._shop, self._ledger, self._config.rules, self._config.papers)

    def _work_ended(self) -> None:
        self._scan_needed = True
        self._idle_since = self._monotonic()
        self._wake.set()

    def _rest_workers_if_idle(self) -> None:
        if not self._drop_threads.busy() and self._monotonic() - self._idle_since > WORKERS_REST_AFTER_S:
            self._config.crew.rest()

    # -- status -------------------------------------------------------------------------------------

    def state(self) -> ShopState:
        """Return the shop's state as the service knows it."""
        return self._status.state(self._loop_state())

    def _loop_state(self) -> LoopState:
        paused, waiting = self._claimer.scan_fault or self._backoff.fault, (self._inbox.waiting(), len(self._inbox))
        working, faults, aside = self._drop_threads.in_work(), self._announcer.hook_faults(), self._aside.rows()
        of, waits, fault = self._config, self._upkeep.removal_waits(), self._reloading.fault
        watching, shop, approval = of.watch.description, of.papers.letterhead, of.settings.approval.required
        return LoopState(paused, watching, *waiting, working, faults, aside, fault, waits, shop, approval)

    def _stamp(self) -> str:
        return self._now().isoformat(timespec="seconds")

    # -- ending -------------------------------------------------------------------------------------

    def _close(self) -> None:
        """Stop the work in hand between two frames, then everything else. The drops stay in work."""
        self._notifier.stopping()
        self._stopping.set()
        ends_at = self._monotonic() + STOP_S
        self._config.watch.stop()
        self._drop_threads.join(FRAME_S)
        self._announcer.close(HOOKS_S)
        self._config.crew.close()  # ends a frame that takes longer; its drop is made again at the next start
        self._drop_threads.join(max(0.0, ends_at - self._monotonic()))
        self._status.write_stopped(self._loop_state())
        logger.info("stopped")
        self._drop_threads.join()  # who still works on a drop still holds the shop's lock; the unit kills it
