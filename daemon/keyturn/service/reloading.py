"""Reading settings and rules again while the service runs."""

from __future__ import annotations

import threading

from loguru import logger

from keyturn.service.backoff import Backoff
from keyturn.service.configuration import Configuration
from keyturn.service.systemd import Notifier
from keyturn.shop.reasons import ShopFault, shop_fault


class Reloading:
    """A reload that was asked for. `ask` may be called from any thread and from signal handlers.

    `fault` says what was wrong with the files at the last reload; it is empty where they were taken.
    """

    def __init__(self, backoff: Backoff, notifier: Notifier) -> None:
        self._backoff, self._notifier = backoff, notifier
        self._wanted = threading.Event()
        self.fault = ""

    def ask(self) -> None:
        """Have settings and rules read again at the next chance."""
        self._wanted.set()

    def is_due(self) -> bool:
        """Return whether somebody has asked since the last reload."""
        return self._wanted.is_set()

    def do(self, config: Configuration) -> None:
        """Read settings and rules again. Where a file is wrong, the old ones stay; pause where the disk fails."""
        self._wanted.clear()
        self._notifier.reloading()
        try:
            config.reload()
            self.fault = ""
        except ShopFault as fault:
            logger.error("settings and rules stay as they were: {}", fault)
            self.fault = str(fault)
        except OSError as error:
            self._wanted.set()
            self._backoff.pause(shop_fault(error) or ShopFault(str(error)))
        self._notifier.ready()
