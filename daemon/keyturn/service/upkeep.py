"""The service's periodic work: removing old drops, and bringing ledger and sheets in line with the folders."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime

from loguru import logger

from keyturn.outbox import retention
from keyturn.outbox.ledger import Ledger
from keyturn.service.clock_watch import ClockWatch, seconds_since_boot
from keyturn.shop.folders import Shop
from keyturn.shop.settings import KeepSettings

REMOVE_OLD_EVERY_S = 3600.0
RECONCILE_EVERY_S = 300.0
"""People put revisions into the outbox and take them away by hand: the folders are compared with the ledger so often,
in seconds, without any other cause."""


class Upkeep:
    """Knows when the periodic work is due and does it.

    `now` returns aware UTC datetimes, `monotonic` seconds, `since_boot` the seconds since the machine's start. `alive`
    is called now and then while old drops are removed. `reconcile_at`, on the clock `monotonic`, is when ledger and
    folders are next compared.
    """

    def __init__(
        self,
        shop: Shop,
        ledger: Ledger,
        now: Callable[[], datetime],
        monotonic: Callable[[], float],
        alive: Callable[[], object],
        since_boot: Callable[[], float] = seconds_since_boot,
    ) -> None:
        self._shop, self._ledger = shop, ledger
        self._now, self._monotonic, self._alive = now, monotonic, alive
        self._remove_old_at = monotonic()
        self._clock = ClockWatch(shop.state / "clock.json", now, since_boot)
        self._waits = ""
        self.reconcile_at = monotonic() + RECONCILE_EVERY_S
        self._reconcile_wanted = threading.Event()

    def reconcile_soon(self) -> None:
        """Have ledger and sheets reconciled at the next chance. Any thread may call this."""
        self._reconcile_wanted.set()

    def is_reconciled(self) -> bool:
        """Return whether nobody has asked for reconciling since it was last done."""
        return not self._reconcile_wanted.is_set()

    def reconcile_if_due(self, reconcile: Callable[[], None]) -> None:
        """Call `reconcile` where somebody asked for it, the ledger was begun anew, or it is time.

        Where `reconcile` raises, it stays due.
        """
        if self._ledger.was_lost() or self._monotonic() >= self.reconcile_at:
            self._reconcile_wanted.set()
        if self._reconcile_wanted.is_set():
            reconcile()
            self._reconcile_wanted.clear()
            self.reconcile_at = self._monotonic() + RECONCILE_EVERY_S

    def remove_old_if_due(self, keep: KeepSettings) -> None:
        """Remove what archive and rejects need not keep any longer. Log a disk error; try again an hour later.

        Wait where the clock has not been seen to be sane: it says how old a drop is.
        """
        try:
            self._clock.look()
        except OSError as error:
            logger.debug("the record of the clock cannot be kept: {}", error)
        limits = (keep.archive_days, keep.archive_gib, keep.rejects_days, keep.rejects_gib)
        self._waits = self._clock.why_not() if any(limits) and not self._clock.is_sane() else ""
        if self._waits or self._monotonic() < self._remove_old_at:
            return
        self._remove_old_at = self._monotonic() + REMOVE_OLD_EVERY_S
        try:
            retention.prune(self._shop, keep, self._now(), self._alive)
        except OSError as error:
            logger.warning("old drops could not be removed: {}", error)

    def removal_waits(self) -> str:
        """Return why nothing is removed from archive and rejects for now; empty where nothing waits."""
        return self._waits
