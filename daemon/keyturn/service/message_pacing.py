"""Which messages go out one by one, and which wait for a digest: pure arithmetic over a clock that is passed in."""

from __future__ import annotations

import math
from collections import deque

from keyturn.service.message_texts import Message, digest

MOST_SINGLE = 10
"""So many messages about one event go out one by one within `WINDOW_S`; later ones wait for a digest."""

WINDOW_S = 60.0


class MessagePacing:
    """The messages about one event. Times are seconds on one clock, never earlier than the last one given.

    As long as more than `MOST_SINGLE` come within `WINDOW_S`, there is one digest in that time.
    """

    def __init__(self) -> None:
        self._went_out: deque[float] = deque(maxlen=MOST_SINGLE)
        self._waiting: list[Message] = []
        self.due_at = math.inf

    def take(self, message: Message, now: float) -> Message | None:
        """Return the message where it is to go out at once; else keep it for the digest."""
        often = len(self._went_out) == MOST_SINGLE and now - self._went_out[0] < WINDOW_S
        if self.due_at == math.inf and not often:
            self._went_out.append(now)
            return message
        self.due_at = min(self.due_at, now + WINDOW_S)
        self._waiting.append(message)
        return None

    def digest(self, now: float) -> Message | None:
        """Return the digest where its time has come and something waits."""
        if now < self.due_at:
            return None
        self.due_at = now + WINDOW_S if len(self._waiting) > MOST_SINGLE else math.inf
        return self.rest()

    def rest(self) -> Message | None:
        """Return at once what waits, as a digest."""
        waiting, self._waiting = self._waiting, []
        return digest(waiting) if waiting else None
