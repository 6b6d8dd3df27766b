"""The service: scan, settle, claim, make, publish or reject, for as long as it is wanted.

Two threads. The loop scans the inbox, claims the next drop when the bench is free, answers signals
and the watchdog and keeps the board; the bench makes one drop at a time with the crew's workers.
Signal and watch handlers only set flags. Clocks are passed in.
"""

from __future__ import annotations

import math
import os
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from typing import Any

from loguru import logger

from keyturn.inbox.events import Watch
from keyturn.inbox.moving import Changed
from keyturn.inbox.waiting import Inbox
from keyturn.outbox import retention
from keyturn.outbox.ledger import Ledger
from keyturn.pipeline import Bench, frame_crew
from keyturn.service.backoff import Backoff
from keyturn.service.claimed_drop import Foreman
from keyturn.service.claims import Claim
from keyturn.service.drop_folders import DropFolders
from keyturn.service.drop_thread import Workbench
from keyturn.service.hooks import Event, Hooks
from keyturn.service.status import Known, Telling
from keyturn.service.systemd import Notifier
from keyturn.shop import rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault, shop_fault
from keyturn.shop.records import ShopState, Working
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.settings import Settings
from keyturn.workers.crew import Crew

WORKERS_REST_AFTER_S = 60.0
PRUNE_EVERY_S = 3600.0
RECONCILE_EVERY_S = 300.0
CALM_S = 5.0
LONGEST_NAP_S = 1.0


def utc_now() -> datetime:
    return datetime.now(UTC)


class Service:
    """One shop's service. `run` returns when `stop` was called (by a signal handler, say).

    `told` hears how the work goes on, `set_up` the settings once they could be read.
    """

    def __init__(
        self,
        shop: Shop,
        *,
        now: Callable[[], datetime] = utc_now,
        monotonic: Callable[[], float] = time.monotonic,
        notifier: Notifier | None = None,
        told: Callable[[Working | None], None] = lambda working: None,
        crew_of: Callable[[Settings, Rulebook], Crew] = frame_crew,
        set_up: Callable[[Settings], None] = lambda wanted: None,
    ) -> None:
        self._shop, self._now, self._monotonic = shop, now, monotonic
        self._crew_of, self._heard = crew_of, set_up
        self._notifier = notifier or Notifier.from_env(os.environ)
        self._stopping, self._reloading, self._wake = threading.Event(), threading.Event(), threading.Event()
        self._unreconciled = threading.Event()
        self._backoff = Backoff(monotonic)
        self._folders = DropFolders(shop, now)
        self._ledger = Ledger(shop.state / "ledger.sqlite3")
        self._telling = Telling(shop, self._ledger, self._notifier, self._stamp, monotonic)
        self._hooks = Hooks()
        self._workbench = Workbench(self._foreman, self._backoff, self._stamp, told, self._work_ended)
        self._prune_at = monotonic()
        self._reconcile_at = monotonic() + RECONCILE_EVERY_S
        self._scan_fault = ""
        self._unseen = False  # did work end since the last scan began? It may have sent its drop back
        self._idle_since = monotonic()

    # -- asked from outside: flags only -----------------------------------------------------------

    def stop(self) -> None:
        self._stopping.set()
        self._wake.set()

    def reload(self) -> None:
        self._reloading.set()
        self._wake.set()

    # -- the loop -----------------------------------------------------------------------------------

    def run(self, *, until_quiet: bool = False) -> None:
        """Raises `ShopFault` where there is no shop, its settings or rules are wrong, or another service has it;
        other faults pause and retry."""
        self._patiently(self._shop.require)
        with ExitStack() as stack:
            self._patiently(lambda: stack.enter_context(self._shop.held()))
            self._patiently(self._set_up)
            if self._stopping.is_set():
                return
            try:
                self._patiently(self._open)
                while not self._stopping.is_set():
                    self._tick()
                    if until_quiet and self._quiet():
                        break
                    self._nap(self._nap_s())
            finally:
                self._close()

    def _patiently(self, step: Callable[[], object]) -> None:
        """Does `step` as soon as the disk allows it, or gives up when the service is stopped."""
        while not self._stopping.is_set():
            try:
                step()
            except OSError as error:
                fault = shop_fault(error)
                if fault is None:
                    raise
                self._backoff.pause(fault)
                self._telling.paused(str(fault))
                self._wait_for_retry()
            else:
                self._backoff.over()
                return

    def _wait_for_retry(self) -> None:
        while not self._stopping.is_set() and not self._backoff.may_try():
            self._notifier.watchdog()
            self._nap(min(LONGEST_NAP_S, self._backoff.left_s()))

    def _nap(self, seconds: float) -> None:
        """Never past half a watchdog."""
        self._wake.wait(min(seconds, self._notifier.watchdog_interval_s or seconds))
        self._wake.clear()

    def _set_up(self) -> None:
        self._settings, self._rules = settings.load(self._shop.root), rulebook.load(self._shop.rules)
        self._heard(self._settings)
        self._crew = self._crew_of(self._settings, self._rules)
        self._inbox = Inbox(self._shop, self._settings, self._rules, self._now)
        self._watch = Watch(self._shop.inbox, self._settings.watch, self._wake.set)

    def _open(self) -> None:
        Ledger.opened(self._shop.state / "ledger.sqlite3")
        self._workbench.pending = list(self._folders.recover())
        if self._workbench.pending:
            logger.info("{} drops were in work; they are made again", len(self._workbench.pending))
        self._foreman().reconcile()
        self._watch.start()
        self._notifier.ready()
        logger.info("watching {} ({})", self._shop.inbox, self._watch.says)

    def _tick(self) -> None:
        if self._reloading.is_set() and not self._workbench.busy() and self._backoff.may_try():
            self._reload()
        self._watch.check()
        self._scan()
        if not self._workbench.busy() and self._backoff.may_try():
            self._catch_up()
        if not self._workbench.busy() and self._backoff.may_try():
            self._prune()
            self._start_next()
            self._recover_from_fault()
        self._rest_when_idle()
        self._telling.show(self._known())
        self._notifier.watchdog()

    def _scan(self) -> None:
        self._unseen = False
        try:
            self._inbox.scan(self._monotonic())
            self._scan_fault = ""
        except OSError as error:
            fault = shop_fault(error) or ShopFault(f"the inbox cannot be read: {error}", "put the folder back")
            if not self._scan_fault:
                logger.error("{}", fault)
            self._scan_fault = str(fault)
        except Exception as error:
            if not self._scan_fault:
                logger.opt(exception=error).error("our own bug while looking through the inbox")
            self._scan_fault = f"Keyturn failed while looking through the inbox ({type(error).__name__}: {error})"

    def _prune(self) -> None:
        if self._monotonic() < self._prune_at:
            return
        self._prune_at = self._monotonic() + PRUNE_EVERY_S
        try:
            retention.prune(self._shop, self._settings.keep, self._now(), self._notifier.watchdog)
        except OSError as error:
            logger.warning("old drops could not be removed: {}", error)

    def _catch_up(self) -> None:
        """After a fault the folders are asked anew: a step may have been half done. Now and then they are asked
        without one, for people put revisions there and take them away by hand."""
        try:
            if self._workbench.doubtful:
                self._workbench.pending = list(self._folders.recover())
                self._workbench.doubtful, self._unseen = False, True
                self._unreconciled.set()
            if self._ledger.was_lost() or self._monotonic() >= self._reconcile_at:
                self._unreconciled.set()
            if self._unreconciled.is_set():
                self._foreman().reconcile()
                self._unreconciled.clear()
                self._reconcile_at = self._monotonic() + RECONCILE_EVERY_S
        except OSError as error:
            self._backoff.pause(shop_fault(error) or ShopFault(str(error)))

    def _recover_from_fault(self) -> None:
        """A fault that was the last thing to happen is over when all is caught up and nothing has failed since;
        a drop on which it came about may have to settle again before it is tried."""
        now = self._monotonic()
        if self._workbench.busy() or self._workbench.pending or self._workbench.doubtful or self._unreconciled.is_set():
            return
        calm = now - self._backoff.until > self._settings.settle.seconds + CALM_S
        if self._backoff.may_try() and (self._inbox.is_empty() or calm):
            self._backoff.over()

    def _start_next(self) -> None:
        pending = self._workbench.pending
        claim = pending.pop(0) if pending else self._claim_next()
        if claim is not None:
            self._workbench.start(claim)

    def _claim_next(self) -> Claim | None:
        while (ready := self._inbox.next()) is not None:
            try:
                claim = self._folders.claim(ready.name, ready.snapshot)
                logger.info("{}: taken from the inbox", claim.name)
                return claim
            except Changed as changed:
                logger.info("{}; waiting for it to lie still", changed)
            except PermissionError as error:
                self._workbench.doubtful = True
                note = f"cannot be taken ({error.strerror}): let the shop's group write to it (chmod -R g+w)"
                self._inbox.hold(ready.name, note, self._monotonic())
                continue
            except OSError as error:
                self._workbench.doubtful = True
                self._backoff.pause(shop_fault(error) or ShopFault(str(error)))
                return None
            finally:
                self._inbox.forget(ready.name)
        return None

    # -- the workbench ------------------------------------------------------------------------------

    def _foreman(self) -> Foreman:
        bench = Bench(self._rules, self._crew, self._now, self._stopping.is_set, self._workbench.progress)
        return Foreman(self._folders, self._ledger, bench, self._unreconciled.set, self._tell_hooks)

    def _tell_hooks(self, event: Event, record: dict[str, Any]) -> None:
        self._hooks.tell(event, record, self._settings.hooks)

    def _work_ended(self) -> None:
        self._unseen = True
        self._idle_since = self._monotonic()
        self._wake.set()

    def _rest_when_idle(self) -> None:
        if not self._workbench.busy() and self._monotonic() - self._idle_since > WORKERS_REST_AFTER_S:
            self._crew.rest()

    # -- telling ------------------------------------------------------------------------------------

    def state(self) -> ShopState:
        return self._telling.state(self._known())

    def _known(self) -> Known:
        paused = self._scan_fault or self._backoff.fault
        waiting = self._inbox.waiting(), len(self._inbox)
        return Known(paused, self._watch.says, *waiting, self._workbench.working)

    def _stamp(self) -> str:
        return self._now().isoformat(timespec="seconds")

    def _quiet(self) -> bool:
        in_doubt = self._unseen or self._workbench.doubtful or self._unreconciled.is_set() or self._scan_fault
        return not in_doubt and not self._workbench.busy() and not self._workbench.pending and self._inbox.is_empty()

    def _nap_s(self) -> float:
        """Short while work goes on, else until there is something to look at, to try or to tell, or the next scan."""
        if self._workbench.busy():
            return LONGEST_NAP_S
        now = self._monotonic()
        retry_s = math.inf if self._backoff.may_try() else self._backoff.until - now
        soonest_s = min(self._inbox.next_walk() - now, retry_s, self._telling.due_s())
        return min(self._settings.scan_seconds, max(0.05, soonest_s))

    # -- changing and ending ------------------------------------------------------------------------

    def _reload(self) -> None:
        self._reloading.clear()
        self._notifier.reloading()
        try:
            wanted, rules = settings.load(self._shop.root), rulebook.load(self._shop.rules)
            self._change_to(wanted, rules, self._crew_of(wanted, rules))
        except ShopFault as fault:
            logger.error("not reloaded, the old rules stand: {}", fault)
        except OSError as error:
            self._reloading.set()
            self._backoff.pause(shop_fault(error) or ShopFault(str(error)))
        self._notifier.ready()

    def _change_to(self, wanted: Settings, rules: Rulebook, crew: Crew) -> None:
        self._settings, self._rules = wanted, rules
        self._inbox.renew(wanted, rules)
        self._crew.close()
        self._crew = crew
        self._watch.stop()
        self._watch = Watch(self._shop.inbox, wanted.watch, self._wake.set)
        self._watch.start()
        logger.info("settings and rules read anew")

    def _close(self) -> None:
        """The drop in hand is given up between two frames and lies in work until the next start."""
        self._notifier.stopping()
        self._stopping.set()
        self._watch.stop()
        self._workbench.join(timeout=10)
        self._hooks.close()
        self._crew.close()  # ends a frame that takes longer; its drop is made again
        self._workbench.join(timeout=60)
        self._telling.last(self._known())
        logger.info("stopped")
