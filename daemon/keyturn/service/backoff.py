"""Pausing the service after a fault of the shop's machine, each time for twice as long."""

from __future__ import annotations

from collections.abc import Callable

from loguru import logger

from keyturn.shop.reasons import ShopFault

RETRY_FIRST_S, RETRY_MOST_S = 2.0, 60.0
"""Length of the first pause and of the longest, in seconds."""


class Backoff:
    """The pause after a fault. `fault` is its text, or empty while the service is not paused.

    `retry_at` is the time of the next try, in seconds on the clock `monotonic`. `told` hears each new fault; it must
    return at once.
    """

    def __init__(self, monotonic: Callable[[], float], told: Callable[[ShopFault], None] = lambda fault: None) -> None:
        self._monotonic, self.told = monotonic, told
        self.fault, self.retry_at, self._pause_s = "", 0.0, RETRY_FIRST_S

    def pause(self, fault: ShopFault) -> None:
        """Begin a pause, twice as long as the one before. Log the fault unless it is the same as last time."""
        if str(fault) != self.fault:
            logger.error("paused: {}", fault)
            self.told(fault)
        self.fault = str(fault)
        self.retry_at = self._monotonic() + self._pause_s
        self._pause_s = min(2 * self._pause_s, RETRY_MOST_S)

    def may_try(self) -> bool:
        """Return whether the pause has run out, or there is none."""
        return self._monotonic() >= self.retry_at

    def left_s(self) -> float:
        """Return how many seconds of the pause are left; 0 where none are."""
        return max(0.0, self.retry_at - self._monotonic())

    def over(self) -> None:
        """Forget the fault: something worked. The next pause is short again."""
        self.fault, self._pause_s = "", RETRY_FIRST_S
