"""The two ways in which an open file is known, each failing at each of its calls with each error that its man page
gives. Sources: fcntl(2) F_SETLEASE, open(2), inotify_init(2), inotify_add_watch(2), inotify(7).

What is held to: a file that the other way shows to be open holds its drop back; where neither tells, the settle time
decides, not the shorter one; and no error ends the scan.
"""

from __future__ import annotations

import ctypes
import errno
import fcntl
import os
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from keyturn.inbox import unclosed
from keyturn.inbox.waiting import Inbox
from keyturn.shop.folders import Shop
from samples import Drop

SETTLE_S = 5.0
"""The settings that ship: a drop of which nothing is known."""

LEASE_ERRORS = ("EACCES", "EPERM", "EINVAL", "ENOLCK", "EOPNOTSUPP", "ENOTTY", "EIO", "ENOMEM")
OPEN_ERRORS = ("EMFILE", "ENFILE", "EACCES", "EIO", "ENOMEM")
INIT_ERRORS = ("EMFILE", "ENFILE", "ENOMEM")
WATCH_ERRORS = ("ENOSPC", "ENOENT", "EACCES", "ENOMEM", "EBADF")
READ_ERRORS = ("EINTR", "EIO", "EBADF")


def taken_after(inbox: Inbox, seconds: float) -> float | None:
    """When a drop is taken that is there from 10 s on, in seconds after that; None where it is not within `seconds`."""
    for tenth in range(int(seconds * 10) + 1):
        inbox.scan(10 + tenth / 10)
        if inbox.next():
            return tenth / 10
    return None


def is_lease(command: int) -> bool:
    return command in (fcntl.F_SETLEASE, fcntl.F_SETSIG)


@contextmanager
def failing_leases(monkeypatch: pytest.MonkeyPatch, error: str, nth: int) -> Iterator[None]:
    """Each lease fails at its `nth` call: the signal asked for, the lease taken, the lease given back."""
    real, calls = fcntl.fcntl, [0]

    def fails(file: int, command: int, *more: Any) -> Any:
        if is_lease(command):
            calls[0] += 1
            if calls[0] % 3 == nth or (nth < 2 and calls[0] == nth + 1):
                calls[0] = 0
                raise OSError(getattr(errno, error), os.strerror(getattr(errno, error)))
        return real(file, command, *more)

    with monkeypatch.context() as patched:
        patched.setattr(fcntl, "fcntl", fails)
        yield


@pytest.mark.parametrize("error", LEASE_ERRORS)
@pytest.mark.parametrize("nth", [0, 1])
def test_where_leases_fail_events_hold_an_open_file_back(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, error: str, nth: int
) -> None:
    with failing_leases(monkeypatch, error, nth):
        drop("van").rename(shop.inbox / "van")
        inbox.scan(9.0)
        with (shop.inbox / "van" / "lamps" / "0002.png").open("r+b", buffering=0) as file:
            file.write(file.read())
            assert taken_after(inbox, 30.0) is None
        inbox.scan(41.0)
        assert taken_after(inbox, 60.0) is not None, "once it is closed the drop goes"


@pytest.mark.parametrize("error", LEASE_ERRORS)
def test_a_lease_that_fails_does_not_shorten_the_wait(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, error: str
) -> None:
    with failing_leases(monkeypatch, error, 1):
        drop("van").rename(shop.inbox / "van")
        assert taken_after(inbox, 10.0) == pytest.approx(SETTLE_S, abs=1.0)


@pytest.mark.parametrize("error", OPEN_ERRORS)
def test_a_file_that_cannot_be_opened_to_ask_about_it_does_not_count_as_closed(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, error: str
) -> None:
    real = os.open

    def fails(path: Any, flags: int, *more: Any, **named: Any) -> int:
        if flags & os.O_NONBLOCK and str(path).startswith(str(shop.inbox)) and Path(path).suffix:
            raise OSError(getattr(errno, error), os.strerror(getattr(errno, error)), str(path))
        return real(path, flags, *more, **named)

    monkeypatch.setattr(os, "open", fails)
    drop("van").rename(shop.inbox / "van")
    assert taken_after(inbox, 10.0) == pytest.approx(SETTLE_S, abs=1.0)


class _Events:
    """The C library, of which one call of inotify fails."""

    def __init__(self, real: Any, name: str, error: str) -> None:
        self._real, self._name, self._error = real, name, getattr(errno, error)

    def __getattr__(self, name: str) -> Any:
        return self._fails if name == self._name else getattr(self._real, name)

    def _fails(self, *given: object) -> int:
        ctypes.set_errno(self._error)
        return -1


def unseen(monkeypatch: pytest.MonkeyPatch) -> None:
    """No lease is to be had: the file is another user's (fcntl(2), EACCES)."""
    real = fcntl.fcntl

    def fails(file: int, command: int, *more: Any) -> Any:
        if is_lease(command):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return real(file, command, *more)

    monkeypatch.setattr(fcntl, "fcntl", fails)


@pytest.mark.parametrize(
    ("call", "error"),
    [("inotify_init1", error) for error in INIT_ERRORS] + [("inotify_add_watch", error) for error in WATCH_ERRORS],
)
def test_where_events_fail_too_the_settle_time_decides(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, call: str, error: str
) -> None:
    unseen(monkeypatch)
    monkeypatch.setattr(unclosed, "_LIBC", _Events(unclosed._LIBC, call, error))
    drop("van").rename(shop.inbox / "van")
    assert taken_after(inbox, 10.0) == pytest.approx(SETTLE_S, abs=1.0)


@pytest.mark.parametrize(("call", "error"), [("inotify_init1", "EMFILE"), ("inotify_add_watch", "ENOSPC")])
def test_events_that_can_be_had_again_are_used_again(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, call: str, error: str
) -> None:
    unseen(monkeypatch)
    with monkeypatch.context() as patched:
        patched.setattr(unclosed, "_LIBC", _Events(unclosed._LIBC, call, error))
        drop("van").rename(shop.inbox / "van")
        inbox.scan(9.0)
    inbox.scan(9.9)
    with (shop.inbox / "van" / "lamps" / "0002.png").open("r+b", buffering=0) as file:
        file.write(file.read())
        assert taken_after(inbox, 20.0) is None


Read = Callable[[int, int], bytes]


@pytest.mark.parametrize("error", READ_ERRORS)
def test_events_that_cannot_be_read_leave_it_to_the_settle_time(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch, error: str
) -> None:
    unseen(monkeypatch)

    def fails(file: int, size: int) -> bytes:
        raise OSError(getattr(errno, error), os.strerror(getattr(errno, error)))

    drop("van").rename(shop.inbox / "van")
    inbox.scan(9.0)
    monkeypatch.setattr(unclosed.os, "read", fails)
    assert taken_after(inbox, 10.0) == pytest.approx(SETTLE_S, abs=1.5)


def test_after_too_many_events_at_once_the_settle_time_decides(
    inbox: Inbox, shop: Shop, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """inotify(7): IN_Q_OVERFLOW, with wd -1."""
    unseen(monkeypatch)
    real: Read = os.read
    lost = struct.pack("iIII", -1, unclosed.OVERFLOW, 0, 0)
    drop("van").rename(shop.inbox / "van")
    inbox.scan(9.0)
    with (shop.inbox / "van" / "lamps" / "0002.png").open("r+b", buffering=0) as file:
        file.write(file.read())
        inbox.scan(9.5)
        answers = iter([lost])
        monkeypatch.setattr(unclosed.os, "read", lambda *given: next(answers, b"") or real(*given))
        assert taken_after(inbox, 20.0) == pytest.approx(SETTLE_S, abs=1.5)
