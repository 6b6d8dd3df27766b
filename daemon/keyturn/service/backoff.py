"""How the service bears the shop's faults: it pauses, says why, tries again, each time after twice as long."""

from __future__ import annotations

from collections.abc import Callable

from loguru import logger

from keyturn.shop.reasons import ShopFault

RETRY_FIRST_S, RETRY_MOST_S = 2.0, 60.0


class Backoff:
    """`fault` says why the service is paused; empty when it is not. `monotonic` gives seconds."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self.fault, self.until, self._retry_s = "", 0.0, RETRY_FIRST_S

    def pause(self, fault: ShopFault) -> None:
        if str(fault) != self.fault:
            logger.error("paused: {}", fault)
        self.fault = str(fault)
        self.until = self._monotonic() + self._retry_s
        self._retry_s = min(2 * self._retry_s, RETRY_MOST_S)

    def may_try(self) -> bool:
        return self._monotonic() >= self.until

    def left_s(self) -> float:
        return max(0.0, self.until - self._monotonic())

    def over(self) -> None:
        self.fault, self._retry_s = "", RETRY_FIRST_S


Patience = Backoff  # until drop_thread.py says Backoff
