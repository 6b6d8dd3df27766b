"""Messages to the service manager: a client of the sd_notify(3) protocol.

A message is one datagram of `NAME=value` lines to the AF_UNIX socket that NOTIFY_SOCKET names. Sending never raises:
the service goes on without its manager.

Only the service's main process may send (the unit says NotifyAccess=main). Workers are kept from it in three ways.
`Notifier.from_env` removes the protocol's three variables from the environment, so that processes started later do not
inherit them. Each message opens a socket of its own, so that a forked worker inherits none. A notifier in another
process than the one that made it sends nothing. Call `from_env(os.environ)` before the crew starts.
"""

from __future__ import annotations

import contextlib
import os
import socket
import time
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass, field

_LONGEST_STATUS = 240
"""In characters of at most 4 bytes each: well below the 4096 bytes that systemd reads."""

_SEND_SECONDS = 1.0
"""A message that the manager has not taken by then is given up: a busy manager must not hold up the service."""


@dataclass(frozen=True, slots=True)
class Notifier:
    """Sends messages to the service manager at `address`; to nobody where that is None.

    Call `watchdog` every `watchdog_interval_s` seconds. That is half the time the manager allows, as
    sd_watchdog_enabled(3) recommends; None where the manager does not watch this process.
    Each method that sends returns whether the manager's socket took the message.
    """

    address: str | None = None
    watchdog_interval_s: float | None = None
    pid: int = field(default_factory=os.getpid)

    @classmethod
    def from_env(cls, environ: MutableMapping[str, str]) -> Notifier:
        """Return the notifier that NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID describe; remove them from `environ`.

        Without a socket, or with one of another kind than AF_UNIX (vsock), the notifier sends nothing.
        """
        notifier = cls(_address(environ.get("NOTIFY_SOCKET", "")), _interval(environ))
        for name in ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"):
            environ.pop(name, None)
        return notifier

    def ready(self) -> bool:
        """Say that the start, or a reload, is finished."""
        return self._send("READY=1")

    def reloading(self) -> bool:
        """Say that the settings are being read again. `ready` must follow, whether or not they could be read.

        Type=notify needs RELOADING=1 alone. Type=notify-reload, which came with systemd 253, needs the monotonic time
        in the same message. Older managers ignore that line, so it is always sent.
        """
        return self._send("RELOADING=1", f"MONOTONIC_USEC={time.monotonic_ns() // 1000}")

    def stopping(self) -> bool:
        """Say that the service is ending its work."""
        return self._send("STOPPING=1")

    def status(self, text: str) -> bool:
        """Set the line that `systemctl status` shows. `text` may hold any character that a file name may hold."""
        return self._send(f"STATUS={one_line(text)}")

    def watchdog(self, within_s: float | None = None) -> bool:
        """Say that the service is alive. Say it at least every `watchdog_interval_s`.

        With `within_s` the manager waits so many seconds for the next sign of life, and for each one after it.
        """
        if within_s is None or self.watchdog_interval_s is None:
            return self._send("WATCHDOG=1")
        return self._send(f"WATCHDOG_USEC={round(within_s * 1_000_000)}", "WATCHDOG=1")

    def extend_timeout(self, seconds: float) -> bool:
        """Ask for `seconds` from now for the start or the stop that is under way.

        Once asked, the manager expects another message within that time, until READY=1.
        """
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
    """Return `text` on one line, cut to the longest status, with a replacement for each unprintable character."""
    line = " ".join(text.split())
    shown = "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in line)
    if len(shown) <= _LONGEST_STATUS:
        return shown
    return shown[: _LONGEST_STATUS - 1] + "\N{HORIZONTAL ELLIPSIS}"


def _address(name: str) -> str | None:
    """Return the address for sendto(2); None where `name` is not an AF_UNIX address.

    A leading @ stands for the null byte of an abstract socket name (sd_notify(3)).
    """
    if name.startswith("@"):
        return "\0" + name[1:]
    return name if name.startswith("/") else None


def _interval(environ: Mapping[str, str]) -> float | None:
    """Return half the watchdog's time, in seconds; None where there is none or WATCHDOG_PID names another process."""
    usec, pid = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID", "")
    if not usec.isdecimal() or int(usec) == 0 or (pid and pid != str(os.getpid())):
        return None
    return int(usec) / 1_000_000 / 2
