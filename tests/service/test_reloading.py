"""A reload is done once for each time it is asked for, and the service manager hears its end (sd_notify(3))."""

from __future__ import annotations

import errno
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from keyturn.service.backoff import Backoff
from keyturn.service.reloading import Reloading
from keyturn.service.systemd import Notifier
from keyturn.shop.reasons import ShopFault
from samples import Clock


@pytest.fixture
def messages(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the service manager hears."""
    lines: list[str] = []
    monkeypatch.setattr(Notifier, "_send", lambda self, *sent: lines.append(sent[0]))
    return lines


@pytest.fixture
def backoff(clock: Clock) -> Backoff:
    return Backoff(clock)


@pytest.fixture
def reloading(backoff: Backoff, messages: list[str]) -> Reloading:
    made = Reloading(backoff, Notifier())
    made.ask()
    return made


def files_that(reload: Callable[[], None]) -> SimpleNamespace:
    """Settings and rules whose reading does `reload`."""
    return SimpleNamespace(reload=reload)


def failing(error: Exception) -> Callable[[], None]:
    def reload() -> None:
        raise error

    return reload


def test_it_is_done_once(reloading: Reloading, messages: list[str]) -> None:
    reloading.do(files_that(lambda: None))  # type: ignore[arg-type]
    assert not reloading.is_due() and messages == ["RELOADING=1", "READY=1"]


def test_a_file_that_is_wrong_ends_it_too(reloading: Reloading, messages: list[str], backoff: Backoff) -> None:
    reloading.do(files_that(failing(ShopFault("keyturn.toml is wrong"))))  # type: ignore[arg-type]
    assert not reloading.is_due() and backoff.may_try() and messages == ["RELOADING=1", "READY=1"]
    assert reloading.fault == "keyturn.toml is wrong"
    reloading.ask()
    reloading.do(files_that(lambda: None))  # type: ignore[arg-type]
    assert reloading.fault == "", "a good reload clears it"


def test_a_disk_that_fails_pauses_and_it_stays_due(reloading: Reloading, messages: list[str], backoff: Backoff) -> None:
    reloading.do(files_that(failing(OSError(errno.EIO, "Input/output error"))))  # type: ignore[arg-type]
    assert reloading.is_due() and not backoff.may_try() and messages == ["RELOADING=1", "READY=1"]
