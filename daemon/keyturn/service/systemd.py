"""Telling the service manager how the service is: a client of the sd_notify(3) protocol.

One datagram of `NAME=value` lines goes to the AF_UNIX socket that NOTIFY_SOCKET names. Nothing here raises
once the notifier is made: a service manager that has gone away is no reason to stop making sticks.

Only the service's main process may speak (the unit says NotifyAccess=main), and workers are kept from it
three ways: `Notifier.from_env` takes the protocol's three variables out of the environment, so processes
started later do not inherit them and everything else stays as it was; each message opens its own socket,
so a forked worker inherits none; and a notifier that finds itself in another process stays silent.
Call `from_env(os.environ)` before the crew starts.
"""

from __future__ import annotations

import contextlib
import os
import socket
import time
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass, field

_LONGEST_STATUS = 240  # characters, at most 4 bytes each: well inside the 4096 bytes systemd reads
_SEND_SECONDS = 1.0  # a manager too busy to take the message must not hold up the service


@dataclass(frozen=True, slots=True)
class Notifier:
    """Speaks to the service manager, or to nobody where `address` is None.

    `watchdog_interval_s` is how often to call `watchdog()`: half the time the manager allows, as
    sd_watchdog_enabled(3) recommends; None where no watchdog waits for this process.
    Every message returns whether the manager's socket took it.
    """

    address: str | None = None
    watchdog_interval_s: float | None = None
    pid: int = field(default_factory=os.getpid)

    @classmethod
    def from_env(cls, environ: MutableMapping[str, str]) -> Notifier:
        """Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID and removes them from `environ`.

        Without a socket, or with one of a kind this client does not speak (vsock), it does nothing.
        """
        notifier = cls(_address(environ.get("NOTIFY_SOCKET", "")), _interval(environ))
        for name in ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"):
            environ.pop(name, None)
        return notifier

    def ready(self) -> bool:
        """Start-up, or a reload, is finished."""
        return self._send("READY=1")

    def reloading(self) -> bool:
        """The settings are being read again; `ready()` must follow, whether or not they could be read.

        With Type=notify (systemd 252 knows no other) RELOADING=1 is enough. Type=notify-reload of 253 and
        later demands the monotonic time in the same message; older managers ignore that line, so it is
        always sent and the unit may change its type without a change here.
        """
        return self._send("RELOADING=1", f"MONOTONIC_USEC={time.monotonic_ns() // 1000}")

    def stopping(self) -> bool:
        """The service has begun to end its work."""
        return self._send("STOPPING=1")

    def status(self, text: str) -> bool:
        """One line for `systemctl status`; `text` may hold anything an artist's file name holds."""
        return self._send(f"STATUS={one_line(text)}")

    def watchdog(self) -> bool:
        """The service is alive: to be said at least every `watchdog_interval_s`."""
        return self._send("WATCHDOG=1")

    def extend_timeout(self, seconds: float) -> bool:
        """Asks for `seconds` more, from now, for the start or stop under way."""
        return self._send(f"EXTEND_TIMEOUT_USEC={max(0, round(seconds * 1_000_000))}")

    def _send(self, *lines: str) -> bool:
        if self.address is None or os.getpid() != self.pid:
            return False
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.settimeout(_SEND_SECONDS)
            sock.sendto("\n".join(lines).encode(), self.address)
            return True
        return False


def one_line(text: str) -> str:
    """`text` on one line, unprintable characters replaced, cut to a length the protocol carries."""
    line = " ".join(text.split())
    shown = "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in line)
    if len(shown) <= _LONGEST_STATUS:
        return shown
    return shown[: _LONGEST_STATUS - 1] + "\N{HORIZONTAL ELLIPSIS}"


def _address(name: str) -> str | None:
    """The address for sendto(): a leading @ stands for the null byte of Linux's abstract socket names."""
    if name.startswith("@"):
        return "\0" + name[1:]
    return name if name.startswith("/") else None


def _interval(environ: Mapping[str, str]) -> float | None:
    """Seconds between signs of life; WATCHDOG_PID, where set, says whom the manager waits for."""
    usec, pid = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID", "")
    if not usec.isdecimal() or int(usec) == 0 or (pid and pid != str(os.getpid())):
        return None
    return int(usec) / 1_000_000 / 2
