"""Messages to the service manager are as sd_notify(3) describes them, and without a manager the service goes on."""

import multiprocessing
import os
import re
import secrets
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.service.systemd import Notifier, one_line


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[socket.socket, str]]:
    """The socket of a service manager, and the value of NOTIFY_SOCKET that leads to it."""
    name = str(tmp_path / "notify") if request.param == "path" else f"@keyturn-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        # unix(7): an abstract name begins with a null byte; sd_notify(3) writes it as @.
        sock.bind("\0" + name[1:] if name.startswith("@") else name)
        sock.settimeout(10)
        yield sock, name


def heard(sock: socket.socket) -> bytes:
    return sock.recv(8192)


def silent(sock: socket.socket) -> bool:
    sock.setblocking(False)
    try:
        sock.recv(8192)
    except BlockingIOError:
        return True
    return False


# The expected bytes are the "well-known assignments" of sd_notify(3), newline-separated.
@pytest.mark.parametrize(
    ("say", "expected"),
    [
        (lambda n: n.ready(), b"READY=1"),
        (lambda n: n.stopping(), b"STOPPING=1"),
        (lambda n: n.watchdog(), b"WATCHDOG=1"),
        (lambda n: n.status("3 drops, Fern Hollow's first"), b"STATUS=3 drops, Fern Hollow's first"),
        (lambda n: n.extend_timeout(2.5), b"EXTEND_TIMEOUT_USEC=2500000"),
        (lambda n: n.extend_timeout(-1), b"EXTEND_TIMEOUT_USEC=0"),
    ],
)
def test_each_message_has_the_documented_bytes(manager, say, expected):
    sock, name = manager
    assert say(Notifier.from_env({"NOTIFY_SOCKET": name})) is True
    assert heard(sock) == expected


def test_a_reload_carries_the_monotonic_clock_then_says_ready(manager):
    sock, name = manager
    notifier = Notifier.from_env({"NOTIFY_SOCKET": name})
    before = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    notifier.reloading()
    after = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    notifier.ready()
    # sd_notify(3): RELOADING=1, and MONOTONIC_USEC= as CLOCK_MONOTONIC in decimal microseconds.
    match = re.fullmatch(rb"RELOADING=1\nMONOTONIC_USEC=(\d+)", heard(sock))
    assert match is not None
    assert before <= int(match[1]) <= after
    assert heard(sock) == b"READY=1"


def test_without_a_manager_nothing_happens():
    notifier = Notifier.from_env({})
    assert notifier.watchdog_interval_s is None
    said = [notifier.ready(), notifier.reloading(), notifier.stopping(), notifier.watchdog()]
    said += [notifier.status("x"), notifier.extend_timeout(1)]
    assert said == [False] * 6


@pytest.mark.parametrize("name", ["", "notify", "vsock:2:1234", "/nowhere/at/all", "@nobody-listens", "/" + "x" * 200])
def test_an_address_nobody_answers_at_raises_nothing(name):
    assert Notifier.from_env({"NOTIFY_SOCKET": name}).ready() is False


def test_a_manager_that_vanishes_and_returns_is_heard_again(tmp_path):
    path = tmp_path / "notify"
    notifier = Notifier.from_env({"NOTIFY_SOCKET": str(path)})
    for _ in range(2):
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.bind(str(path))
            assert notifier.watchdog() is True
            assert heard(sock) == b"WATCHDOG=1"
        assert notifier.watchdog() is False  # closed, its file still there
        path.unlink()
        assert notifier.watchdog() is False  # its file gone too


def test_a_manager_that_does_not_read_holds_nothing_up(tmp_path, monkeypatch):
    monkeypatch.setattr("keyturn.service.systemd._SEND_SECONDS", 0.01)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(str(tmp_path / "notify"))
        notifier = Notifier.from_env({"NOTIFY_SOCKET": str(tmp_path / "notify")})
        taken = next((n for n in range(100_000) if not notifier.watchdog()), None)
        assert taken  # as many as net.unix.max_dgram_qlen lets wait, then no more and no hang


# sd_watchdog_enabled(3): the time is in microseconds, half of it is the recommended interval, and
# WATCHDOG_PID, where set, must be the process's own.
@pytest.mark.parametrize(
    ("environ", "interval"),
    [
        ({"WATCHDOG_USEC": "60000000"}, 30.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}, 30.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getppid())}, None),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "ours"}, None),
        ({"WATCHDOG_USEC": "1500000"}, 0.75),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "-5"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": ""}, None),
        ({"WATCHDOG_PID": str(os.getpid())}, None),
    ],
)
def test_the_watchdog_interval_is_half_of_what_the_manager_allows(environ, interval):
    assert Notifier.from_env(environ).watchdog_interval_s == interval


@settings(deadline=None)
@given(st.text(st.characters(), max_size=2000))
def test_a_status_is_one_printable_line_that_fits(text):
    line = one_line(text)
    assert line.isprintable()
    # systemd, src/core/manager.c: NOTIFY_BUFFER_MAX is PIPE_BUF, 4096 bytes (value from memory).
    assert len(f"STATUS={line}".encode()) < 4096


def test_a_longer_time_until_the_next_sign_of_life_is_asked_for_in_the_same_message(manager):
    """sd_notify(3): WATCHDOG_USEC= resets the watchdog's time. Where the manager watches nobody it stays unsaid."""
    sock, name = manager
    watched = Notifier.from_env({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "60000000"})
    assert watched.watchdog(within_s=300) and heard(sock) == b"WATCHDOG_USEC=300000000\nWATCHDOG=1"
    assert Notifier.from_env({"NOTIFY_SOCKET": name}).watchdog(within_s=300) and heard(sock) == b"WATCHDOG=1"


def test_a_status_cannot_smuggle_in_another_message(manager):
    sock, name = manager
    Notifier.from_env({"NOTIFY_SOCKET": name}).status("bad\nSTOPPING=1\r\x00\udcff.png")
    message = heard(sock)
    assert message.count(b"\n") == 0
    assert message.decode("utf-8") == "STATUS=bad STOPPING=1 \ufffd\ufffd.png"


def test_only_the_protocols_own_variables_leave_the_environment(manager):
    _, name = manager
    others = {"PATH": "/bin", "KEYTURN_ROOT": "/srv/keyturn"}
    environ = {"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "1", "WATCHDOG_PID": "1", **others}
    Notifier.from_env(environ)
    assert environ == others


def test_a_process_started_later_does_not_know_the_manager(manager, monkeypatch):
    _, name = manager
    monkeypatch.setenv("NOTIFY_SOCKET", name)
    look = [sys.executable, "-c", "import os; print(os.environ.get('NOTIFY_SOCKET'))"]
    assert subprocess.check_output(look, text=True).strip() == name  # so the check below can fail
    Notifier.from_env(os.environ)
    assert subprocess.check_output(look, text=True).strip() == "None"


@pytest.mark.parametrize("method", ["fork", "spawn"])
@pytest.mark.filterwarnings("ignore:.*multi-threaded.*fork:DeprecationWarning")
def test_a_worker_that_holds_a_notifier_stays_silent(manager, method):
    sock, name = manager
    notifier = Notifier.from_env({"NOTIFY_SOCKET": name})
    with ProcessPoolExecutor(1, multiprocessing.get_context(method)) as workers:
        assert workers.submit(notifier.ready).result(timeout=30) is False
    assert silent(sock)
    assert notifier.ready() is True
