"""The service: scan, settle, claim, make, publish or reject, for as long as it is wanted.

Two threads. The loop scans the inbox, claims the next drop when the bench is free, answers signals
and the watchdog and keeps the board; the bench makes one drop at a time with the crew's workers.
Signal and watch handlers only set flags. Clocks are passed in.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from typing import Any

from loguru import logger

from keyturn import office, retention, rulebook, settings
from keyturn.crew import Crew, LocalCrew
from keyturn.foreman import Foreman, Outcome
from keyturn.hooks import Event, Hooks
from keyturn.inbox import Inbox
from keyturn.ledger import Ledger
from keyturn.line import Bench
from keyturn.notify import Notifier
from keyturn.reasons import ShopFault, shop_fault
from keyturn.records import ShopState, Waiting, Working
from keyturn.rulebook import Rulebook
from keyturn.settings import Settings
from keyturn.shop import Shop
from keyturn.spool import Changed, Claim, Spool, readable
from keyturn.watch import Watch

BOARD_EVERY_S = 2.0
BOARD_AT_LEAST_EVERY_S = 60.0
RETRY_FIRST_S, RETRY_MOST_S = 2.0, 60.0
WORKERS_REST_AFTER_S = 60.0
PRUNE_EVERY_S = 3600.0
CALM_S = 5.0


def utc_now() -> datetime:
    return datetime.now(UTC)


def chosen_crew(wanted: Settings, rules: Rulebook) -> Crew:
    """The crew the settings name. Raises `ShopFault` where a cluster is asked for and its library is not there."""
    if wanted.crew == "local":
        return LocalCrew(wanted.workers, rules.intake.workers)
    try:
        from keyturn.cluster import ClusterCrew
    except ImportError as error:
        what = f"crew = {wanted.crew!r} needs the extra cluster ({error})"
        raise ShopFault(what, 'install "keyturn[cluster]", or set crew = "local"') from error
    return ClusterCrew(wanted.crew, rules.intake.workers)


class Service:
    """One shop's service. `run` returns when `stop` was called (by a signal handler, say)."""

    def __init__(
        self,
        shop: Shop,
        *,
        now: Callable[[], datetime] = utc_now,
        monotonic: Callable[[], float] = time.monotonic,
        notifier: Notifier | None = None,
        told: Callable[[Working | None], None] = lambda working: None,
        crew_of: Callable[[Settings, Rulebook], Crew] = chosen_crew,
    ) -> None:
        self._shop, self._now, self._monotonic, self._told = shop, now, monotonic, told
        self._crew_of = crew_of
        self._notifier = notifier or Notifier.from_env(os.environ)
        self._stopping, self._reloading, self._wake = threading.Event(), threading.Event(), threading.Event()
        self._unreconciled = threading.Event()
        self._settings, self._rules = settings.load(shop.root), rulebook.load(shop.rules)
        self._spool = Spool(shop, now)
        self._ledger = Ledger(shop.state / "ledger.sqlite3")
        self._inbox = Inbox(shop, self._settings, self._rules, now)
        self._crew = self._crew_of(self._settings, self._rules)
        self._watch = Watch(shop.inbox, self._settings.watch, self._wake.set)
        self._hooks = Hooks()
        self._prune_at = monotonic()
        self._pending: list[Claim] = []
        self._bench_thread: threading.Thread | None = None
        self._working: Working | None = None
        self._fault, self._retry_at, self._retry_s = "", 0.0, RETRY_FIRST_S
        self._scan_fault = ""
        self._doubtful = False  # did a claim end in a fault? Its drop may be in work already
        self._unseen = False  # did work end since the last scan began? It may have sent its drop back
        self._idle_since = monotonic()
        self._board_at = -BOARD_AT_LEAST_EVERY_S
        self._board_shown: ShopState | None = None

    # -- asked from outside: flags only -----------------------------------------------------------

    def stop(self) -> None:
        self._stopping.set()
        self._wake.set()

    def reload(self) -> None:
        self._reloading.set()
        self._wake.set()

    # -- the loop -----------------------------------------------------------------------------------

    def run(self, *, until_quiet: bool = False) -> None:
        """Raises `ShopFault` where there is no shop, or another service has it; other faults pause and retry."""
        self._patiently(self._shop.require)
        with ExitStack() as stack:
            self._patiently(lambda: stack.enter_context(self._shop.held()))
            try:
                self._patiently(self._open)
                while not self._stopping.is_set():
                    self._tick()
                    if until_quiet and self._quiet():
                        break
                    self._wake.wait(self._nap_s())
                    self._wake.clear()
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
                self._pause(fault)
                self._notifier.ready()  # it runs, and waits
                self._notifier.status(f"Paused: {fault}")
                self._wait_for_retry()
            else:
                self._fault, self._retry_s = "", RETRY_FIRST_S
                return

    def _wait_for_retry(self) -> None:
        while not self._stopping.is_set() and self._monotonic() < self._retry_at:
            self._notifier.watchdog()
            self._wake.wait(self._nap_s())
            self._wake.clear()

    def _open(self) -> None:
        self._ledger, _ = Ledger.opened(self._shop.state / "ledger.sqlite3")
        self._pending = list(self._spool.recover())
        if self._pending:
            logger.info("{} drops were in work; they are made again", len(self._pending))
        self._reconcile()
        self._watch.start()
        self._notifier.ready()
        logger.info("watching {} ({})", self._shop.inbox, self._watch.says)

    def _reconcile(self) -> None:
        """The ledger and the sheets learn of every folder they do not know, and forget those that are gone."""
        foreman = self._foreman()
        known = set(self._ledger.ready_paths())
        there = set()
        for customer in sorted(p for p in self._shop.outbox.iterdir() if p.is_dir()):
            there |= {f"{customer.name}/{path.name}" for _, _, path in office.revisions(customer)}
        for target in sorted(there - known):
            foreman.enter(target)
        self._ledger.drop_ready(known - there)
        known = set(self._ledger.refused_paths())
        there = {f"rejects/{p.name}" for p in self._shop.rejects.iterdir() if (p / "REJECTED.json").is_file()}
        for path in sorted(there - known):
            foreman.enter_refused(self._shop.root / path)
        self._ledger.drop_refused(known - there)

    def _tick(self) -> None:
        if self._reloading.is_set() and not self._busy():
            self._reload()
        self._watch.check()
        self._scan()
        if not self._busy() and self._monotonic() >= self._retry_at:
            self._catch_up()
            self._prune()
            self._start_next()
            self._recover_from_fault()
        self._rest_when_idle()
        self._show()
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
            retention.prune(self._shop, self._settings.keep, self._now())
        except OSError as error:
            logger.warning("old drops could not be removed: {}", error)

    def _catch_up(self) -> None:
        """After a fault the folders are asked anew: a step may have been half done."""
        try:
            if self._doubtful:
                self._pending = list(self._spool.recover())
                self._doubtful, self._unseen = False, True
            if self._unreconciled.is_set():
                self._reconcile()
                self._unreconciled.clear()
        except OSError as error:
            self._pause(shop_fault(error) or ShopFault(str(error)))

    def _recover_from_fault(self) -> None:
        """A fault that was the last thing to happen is over when all is caught up and nothing has failed since;
        a drop on which it came about may have to settle again before it is tried."""
        now = self._monotonic()
        if not self._fault or self._busy() or self._pending or self._doubtful or self._unreconciled.is_set():
            return
        calm = now - self._retry_at > self._settings.settle.seconds + CALM_S
        if now >= self._retry_at and (self._inbox.is_empty() or calm):
            self._fault, self._retry_s = "", RETRY_FIRST_S

    def _start_next(self) -> None:
        claim = self._pending.pop(0) if self._pending else self._claim_next()
        if claim is None:
            return
        self._working = Working(name=claim.name, stage="reading", done=0, total=0, since=self._stamp())
        self._bench_thread = threading.Thread(target=self._work, args=(claim,), name="bench")
        self._bench_thread.start()

    def _claim_next(self) -> Claim | None:
        while (ready := self._inbox.next()) is not None:
            try:
                return self._spool.claim(ready.name, ready.snapshot)
            except Changed as changed:
                logger.info("{}; waiting for it to lie still", changed)
            except PermissionError as error:
                self._doubtful = True
                note = f"cannot be taken ({error.strerror}): let the shop's group write to it (chmod -R g+w)"
                self._inbox.hold(ready.name, note, self._monotonic())
                continue
            except OSError as error:
                self._doubtful = True
                self._pause(shop_fault(error) or ShopFault(str(error)))
                return None
            finally:
                self._inbox.forget(ready.name)
        return None

    # -- the bench ----------------------------------------------------------------------------------

    def _busy(self) -> bool:
        return self._bench_thread is not None and self._bench_thread.is_alive()

    def _work(self, claim: Claim) -> None:
        try:
            outcome = self._foreman().process(claim)
            if outcome is not Outcome.STOPPED:
                self._fault, self._retry_s = "", RETRY_FIRST_S
        except ShopFault as fault:
            self._pending.insert(0, claim)
            self._pause(fault)
        except Exception as error:  # a bug in moving drops: the drop stays in work and is tried again
            logger.opt(exception=error).error("{}: our own bug while moving it", claim.name)
            self._pending.append(claim)
            self._pause(ShopFault(f"Keyturn failed on {claim.name} ({type(error).__name__}: {error})", "see the log"))
        finally:
            self._working = None
            self._unseen = True
            self._told(None)
            self._idle_since = self._monotonic()
            self._wake.set()

    def _foreman(self) -> Foreman:
        bench = Bench(self._rules, self._crew, self._now, self._stopping.is_set, self._progress)
        return Foreman(self._spool, self._ledger, bench, self._unreconciled.set, self._tell_hooks)

    def _tell_hooks(self, event: Event, record: dict[str, Any]) -> None:
        self._hooks.tell(event, record, self._settings.hooks)

    def _progress(self, stage: str, done: int, total: int) -> None:
        working = self._working
        if working is not None:
            self._working = working.model_copy(update={"stage": stage, "done": done, "total": total})
            self._told(self._working)

    def _pause(self, fault: ShopFault) -> None:
        if str(fault) != self._fault:
            logger.error("paused: {}", fault)
        self._fault = str(fault)
        self._retry_at = self._monotonic() + self._retry_s
        self._retry_s = min(2 * self._retry_s, RETRY_MOST_S)

    def _rest_when_idle(self) -> None:
        if not self._busy() and self._monotonic() - self._idle_since > WORKERS_REST_AFTER_S:
            self._crew.rest()

    # -- telling ------------------------------------------------------------------------------------

    def state(self) -> ShopState:
        ready_total, refused_total = self._ledger.counts()
        working = self._working
        return ShopState(
            at=self._stamp(),
            running=True,
            pid=os.getpid(),
            paused=self._scan_fault or self._fault or None,
            watching=self._watch.says,
            waiting=tuple(map(_readable, self._inbox.waiting())),
            working=(working,) if working else (),
            ready=self._ledger.ready(),
            refused=self._ledger.refused(),
            ready_total=ready_total,
            refused_total=refused_total,
        )

    def _show(self) -> None:
        """The board and the state file, when something changed and not too often."""
        now = self._monotonic()
        if now - self._board_at < BOARD_EVERY_S:
            return
        try:
            self._forget_taken_away()
            state = self.state()
            same = self._board_shown is not None and state == self._board_shown.model_copy(update={"at": state.at})
            if same and now - self._board_at < BOARD_AT_LEAST_EVERY_S:
                return
            office.write_state(self._shop, state)
            office.write_board(self._shop, state)
        except (OSError, ValueError) as error:  # what cannot be written down must not end the service either
            logger.warning("the board cannot be written: {}", error)
            return
        self._board_at, self._board_shown = now, state
        self._notifier.status(office.status_line(state))

    def _forget_taken_away(self) -> None:
        """Rejects are dragged back to the inbox and ready folders taken away by hand."""
        self._ledger.drop_refused(r.path for r in self._ledger.refused() if not (self._shop.root / r.path).is_dir())
        self._ledger.drop_ready(r.path for r in self._ledger.ready() if not (self._shop.outbox / r.path).is_dir())

    def _stamp(self) -> str:
        return self._now().isoformat(timespec="seconds")

    def _quiet(self) -> bool:
        in_doubt = self._unseen or self._doubtful or self._unreconciled.is_set() or self._scan_fault
        return not in_doubt and not self._busy() and not self._pending and self._inbox.is_empty()

    def _nap_s(self) -> float:
        """Short while something is going on, else until the next scan, but never past half a watchdog."""
        restless = self._busy() or self._pending or not self._inbox.is_empty()
        nap_s = min(1.0, max(0.05, self._settings.settle.seconds / 4)) if restless else self._settings.scan_seconds
        return min(nap_s, self._notifier.watchdog_interval_s or nap_s)

    # -- changing and ending ------------------------------------------------------------------------

    def _reload(self) -> None:
        self._reloading.clear()
        self._notifier.reloading()
        try:
            wanted, rules = settings.load(self._shop.root), rulebook.load(self._shop.rules)
            crew = self._crew_of(wanted, rules)
        except ShopFault as fault:
            logger.error("not reloaded, the old rules stand: {}", fault)
        else:
            self._settings, self._rules = wanted, rules
            self._inbox.renew(self._settings, self._rules)
            self._crew.close()
            self._crew = crew
            self._watch.stop()
            self._watch = Watch(self._shop.inbox, self._settings.watch, self._wake.set)
            self._watch.start()
            logger.info("settings and rules read anew")
        self._notifier.ready()

    def _close(self) -> None:
        """The drop in hand is given up between two frames and lies in work until the next start."""
        self._notifier.stopping()
        self._stopping.set()
        self._watch.stop()
        if self._bench_thread is not None:
            self._bench_thread.join(timeout=10)
        self._hooks.close()
        self._crew.close()  # ends a frame that takes longer; its drop is made again
        if self._bench_thread is not None:
            self._bench_thread.join(timeout=60)
        try:
            state = self.state().model_copy(update={"running": False, "pid": None})
            office.write_state(self._shop, state)
            office.write_board(self._shop, state)
        except OSError as error:
            logger.warning("the board cannot be written: {}", error)
        logger.info("stopped")


def _readable(waiting: Waiting) -> Waiting:
    return waiting.model_copy(update={"name": readable(waiting.name), "note": readable(waiting.note)})
