"""Who hears what happened: the operator's hooks, and by messages the shop's people."""

from __future__ import annotations

import time
from typing import Any

from loguru import logger

from keyturn.service import apprise_sending, hooks, message_texts
from keyturn.service.hooks import Hooks
from keyturn.service.messages import Messages
from keyturn.shop.reasons import ShopFault
from keyturn.shop.settings import Settings


class Announcer:
    """Tells of outcomes, customers' answers and pauses. Nobody hears anything before `renew` has brought the settings.

    All may be called from any thread and return at once, but for `close`, which is called at the end.
    """

    def __init__(self, messages: Messages | None = None) -> None:
        self._hooks, self._messages = Hooks(), messages or Messages()
        self._settings: Settings | None = None

    def renew(self, settings: Settings) -> None:
        """Act by these settings from now on. Log where they ask for what is not installed."""
        self._settings = settings
        if apprise_sending.all_addresses(settings.notify) and not apprise_sending.is_installed():
            logger.warning("no message is sent: {} -> {}", apprise_sending.MISSING, apprise_sending.HOW_TO_INSTALL)

    def outcome(self, event: hooks.Event, record: dict[str, Any]) -> None:
        """Tell what became of a drop, or that a customer answered, with its record: see `message_texts.of_outcome`."""
        if self._settings is not None:
            self._hooks.add(event, record, self._settings.hooks)
            self._messages.add(message_texts.of_outcome(event, record), self._settings.notify)

    def paused(self, fault: ShopFault) -> None:
        """Tell that a pause begins."""
        if self._settings is not None:
            self._messages.add(message_texts.of_pause(str(fault)), self._settings.notify)

    def hook_faults(self) -> tuple[str, ...]:
        """Return what is wrong with each event's hook: how its last run failed."""
        return self._hooks.faults()

    def close(self, timeout_s: float) -> None:
        """Let what waits be told for a little while. What is left then is told to nobody."""
        ends_at = time.monotonic() + timeout_s
        self._messages.end()
        self._hooks.close(timeout_s)
        self._messages.join(max(0.0, ends_at - time.monotonic()))
