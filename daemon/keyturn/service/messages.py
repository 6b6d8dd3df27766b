"""Messages to the shop's people, sent on a thread of their own: a bad address costs a line in the log, nothing else.

A message is best effort. It is sent once, after its outcome is safe in the folders; a start never sends it again.
"""

from __future__ import annotations

import math
import queue
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from loguru import logger

from keyturn.service import apprise_sending
from keyturn.service.apprise_sending import Address
from keyturn.service.message_pacing import MessagePacing
from keyturn.service.message_texts import Event, Message
from keyturn.shop.settings import NotifySettings

MOST_WAITING = 100
"""So many messages wait for a slow server. Later ones are left out, and the log says so."""

LONGEST_WAIT_S = 3600.0


@dataclass(frozen=True, slots=True)
class _Queued:
    """A message, its addresses, and when it came, in seconds."""

    message: Message
    to: tuple[Address, ...]
    at: float


class Messages:
    """Sends messages. `add` may be called from any thread; call `end` and `join` at the end.

    `send` sends one message to its addresses and returns in one line what went wrong.
    """

    def __init__(
        self,
        send: Callable[[Message, Iterable[Address]], str] = apprise_sending.send,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._send, self._monotonic = send, monotonic
        self._queue: queue.Queue[_Queued | None] = queue.Queue(MOST_WAITING)
        self._thread: threading.Thread | None = None
        self._starting = threading.Lock()
        self._pacing: dict[Event, MessagePacing] = {}
        self._to: dict[Event, tuple[Address, ...]] = {}

    def add(self, message: Message, settings: NotifySettings) -> None:
        """Queue a message where the shop wants it. Return at once, whatever its server does."""
        to = apprise_sending.addresses(settings, message.event)
        if not to:
            return
        try:
            self._queue.put_nowait(_Queued(message, to, self._monotonic()))
        except queue.Full:
            logger.warning("messages are sent too slowly: one about {} was left out", message.event)
            return
        with self._starting:
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="messages", daemon=True)
                self._thread.start()

    def end(self) -> None:
        """Have the thread end once all that waits is sent, digests at once."""
        if self._thread is not None:
            try:
                self._queue.put_nowait(None)
            except queue.Full:
                logger.warning("messages are sent too slowly: those that wait are left out")

    def join(self, timeout_s: float) -> None:
        """Wait for the thread for at most so long. What is not sent then is not sent."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _work(self) -> None:
        while True:
            try:
                queued = self._queue.get(timeout=self._wait_s())
            except queue.Empty:
                self._send_digests(self._monotonic())
                continue
            if queued is None:
                break
            self._take(queued)
        for event, pacing in self._pacing.items():
            self._send_one(event, pacing.rest())

    def _wait_s(self) -> float:
        due_at = min((pacing.due_at for pacing in self._pacing.values()), default=math.inf)
        return min(LONGEST_WAIT_S, max(0.0, due_at - self._monotonic()))

    def _take(self, queued: _Queued) -> None:
        event = queued.message.event
        self._send_digests(queued.at)  # it came after they were due: a slow server has held them up
        self._to[event] = queued.to
        self._send_one(event, self._pacing.setdefault(event, MessagePacing()).take(queued.message, queued.at))

    def _send_digests(self, now: float) -> None:
        for event, pacing in self._pacing.items():
            self._send_one(event, pacing.digest(now))

    def _send_one(self, event: Event, message: Message | None) -> None:
        if message is not None and (fault := self._send(message, self._to[event])):
            logger.warning("a message about {} was not sent to all: {}", event, fault)
