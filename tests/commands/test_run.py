"""`keyturn run`: the service obeys its signals."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest

from keyturn.commands.run import obey_signals
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop
from samples import until

SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


@pytest.fixture
def handlers_put_back() -> Iterator[None]:
    before = {number: signal.getsignal(number) for number in SIGNALS}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("handlers_put_back")
def test_each_signal_does_one_thing(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    monkeypatch.setattr(Service, "stop", lambda self: done.append("stop"))
    monkeypatch.setattr(Service, "reload", lambda self: done.append("reload"))
    obey_signals(Service(shop))
    for number in SIGNALS:
        os.kill(os.getpid(), number)
    assert done == ["stop", "stop", "reload"]


def test_the_service_ends_at_sigterm_with_0(shop: Shop) -> None:
    order = [sys.executable, "-m", "keyturn", "run", "--root", str(shop.root)]
    with subprocess.Popen(order, stderr=subprocess.PIPE, text=True) as service:
        until(shop.is_running)
        service.send_signal(signal.SIGTERM)
        _, told = service.communicate(timeout=60)
    assert service.returncode == 0, told
    assert not shop.is_running()
