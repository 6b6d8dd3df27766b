"""A service that runs while a test looks on."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from keyturn.workers.crew import InlineCrew
from samples import PATIENCE_S, until


@contextmanager
def running(shop: Shop) -> Iterator[Service]:
    """The service, on a thread of its own, once it has shown its board; it ends when it is told to, and not before."""
    service = Service(shop, crew_of=lambda settings, rules: InlineCrew())
    thread = threading.Thread(target=service.run)
    thread.start()
    try:
        until(shop.board.exists)
        yield service
        assert thread.is_alive(), "the service ended"
    finally:
        service.stop()
        thread.join(PATIENCE_S)
        assert not thread.is_alive()
