"""What keeps drops apart that are made at the same time: in the shop's folders, in a job's numbers, in their time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager

LOOK_S = 0.2
"""Seconds between two looks at whether a drop that waits for another is to be given up."""


class SideBySide:
    """`moving` is held by whoever moves a drop on or writes the books: the ledger, sheets and the names in outbox,
    rejects and inbox are one drop's at a time."""

    def __init__(self) -> None:
        self.moving = threading.RLock()
        self._taken: set[tuple[str, str]] = set()
        self._given_back = threading.Condition()
        self._waiting = 0

    def if_nothing_moves(self, work: Callable[[], None]) -> None:
        """Do `work` while `moving` is held; nothing where a drop holds it."""
        if self.moving.acquire(blocking=False):
            try:
                work()
            finally:
                self.moving.release()

    def somebody_waits(self) -> bool:
        """Tell whether a drop waits for another one of its job."""
        return self._waiting > 0

    @contextmanager
    def alone_with(self, jobs: Collection[tuple[str, str]], check: Callable[[], None] = lambda: None) -> Iterator[None]:
        """Wait until no other drop makes any of `jobs`, pairs of a customer's folder and a job's; then take them.

        So revisions of one job are made and numbered one after the other. `check` is called while it waits, and may
        raise.
        """
        wanted = set(jobs)
        with self._given_back:
            self._waiting += 1
            try:
                while wanted & self._taken:
                    check()
                    self._given_back.wait(LOOK_S)
            finally:
                self._waiting -= 1
            self._taken |= wanted
        try:
            yield
        finally:
            with self._given_back:
                self._taken -= wanted
                self._given_back.notify_all()


class SharedTime:
    """A clock of the drops' own time: while three drops share the workers, three seconds are one of each.

    So a drop's limits count the time that it had, whoever is made beside it. `clock` returns seconds.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._now = self._looked_at = clock()
        self._sharing = 0

    def now(self) -> float:
        """Return the seconds of this clock."""
        with self._lock:
            return self._go_on()

    def begin(self) -> None:
        """Count one drop more."""
        with self._lock:
            self._go_on()
            self._sharing += 1

    def end(self) -> None:
        """Count one drop less."""
        with self._lock:
            self._go_on()
            self._sharing -= 1

    def _go_on(self) -> float:
        looked_at, self._looked_at = self._looked_at, self._clock()
        self._now += (self._looked_at - looked_at) / max(1, self._sharing)
        return self._now
