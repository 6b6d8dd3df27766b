"""Hooks: the operator's own command for an outcome is run, with the outcome's record as JSON on its stdin.

Hooks run one after the other on a thread of their own, each with a time limit. One that fails or hangs costs a line in
the log and on status, and nothing else.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, get_args

from loguru import logger

from keyturn.shop.plain_text import plain_line
from keyturn.shop.settings import HookSettings

MOST_WAITING = 100
"""So many outcomes wait for a slow hook. Later ones are left out, and the log says so."""

KEPT_BYTES = 4096
"""So much of the end of a hook's errors is kept; its last line is shown, `LONGEST_LINE` characters of it."""

LONGEST_LINE = 300
READ_AFTER_S = 2.0
"""How long the end of the errors is waited for after a hook has ended: a program it left behind may hold them open."""

Event = Literal["ready", "refused", "answered"]
"""What became of a drop, or that a customer answered; also the name of its command in [hooks] of keyturn.toml."""

EVENTS: tuple[Event, ...] = get_args(Event)


@dataclass(frozen=True, slots=True)
class _HookCall:
    """One command still to be run, the bytes for its stdin and its time limit in seconds."""

    event: Event
    command: tuple[str, ...]
    message: bytes
    seconds: float


class Hooks:
    """Runs hooks. `add` and `faults` may be called from any thread; call `close` at the end."""

    def __init__(self) -> None:
        self._calls: queue.Queue[_HookCall | None] = queue.Queue(MOST_WAITING)
        self._thread: threading.Thread | None = None
        self._faults: dict[Event, str] = dict.fromkeys(EVENTS, "")  # of a fixed size: two threads use it

    def add(self, event: Event, record: dict[str, Any], settings: HookSettings) -> None:
        """Queue the event's command where the shop has one. Return at once, whatever the command does."""
        command = {"ready": settings.ready, "refused": settings.refused, "answered": settings.answered}[event]
        if not command:
            return
        message = json.dumps({"event": event, **record}, ensure_ascii=False).encode("utf-8")
        try:
            self._calls.put_nowait(_HookCall(event, command, message, settings.seconds))
        except queue.Full:
            logger.warning("the {} hook is too slow: it was not run for one outcome", event)
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="hooks", daemon=True)
            self._thread.start()

    def faults(self) -> tuple[str, ...]:
        """Return what is wrong with each event's hook: how its last run failed."""
        return tuple(f"{event}: {fault}" for event, fault in self._faults.items() if fault)

    def _work(self) -> None:
        while (call := self._calls.get()) is not None:
            self._faults[call.event] = run(call.command, call.message, call.seconds)

    def close(self, timeout_s: float) -> None:
        """Let the waiting hooks run for a little while. Those that are left then are not run."""
        if self._thread is None:
            return
        ends_at = time.monotonic() + timeout_s
        try:
            self._calls.put(None, timeout=timeout_s)
        except queue.Full:
            return
        self._thread.join(max(0.0, ends_at - time.monotonic()))


def run(
    command: tuple[str, ...],
    message: bytes,
    seconds: float,
    popen: Callable[..., subprocess.Popen[bytes]] = subprocess.Popen,
) -> str:
    """Run one hook. Log and return in one line what went wrong, with the last line of its errors; empty if nothing did.

    At its time limit kill it and every process it started. Never raise.
    """
    errors: _Errors | None = None
    try:
        errors = _Errors()
        fault = _run_with(command, message, seconds, errors, popen)
    except OSError as error:
        fault = f"cannot be run: {error.strerror}"
    if not fault:
        return ""
    line = errors.last_line() if errors else ""
    whole = plain_line(f"the hook {command[0]} {fault}{f': {line}' if line else ''}")
    logger.warning("{}", whole)
    return whole


def _run_with(
    command: tuple[str, ...],
    message: bytes,
    seconds: float,
    errors: _Errors,
    popen: Callable[..., subprocess.Popen[bytes]],
) -> str:
    with errors.pipe as pipe:
        process = popen(command, start_new_session=True, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=pipe)
    try:
        process.communicate(message, timeout=seconds)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return f"took longer than {seconds:g} s and was ended"
    except OSError as error:
        return f"failed: {error}"
    return f"ended with code {process.returncode}" if process.returncode else ""


class _Errors:
    """The end of what a program writes to `pipe`. It is read as it comes, so that the program never waits."""

    def __init__(self) -> None:
        reader, writer = os.pipe()
        self.pipe = os.fdopen(writer, "wb")
        self._end = b""
        self._thread = threading.Thread(target=self._read, args=(reader,), name="hook-errors", daemon=True)
        self._thread.start()

    def _read(self, reader: int) -> None:
        with os.fdopen(reader, "rb", buffering=0) as pipe:
            while data := pipe.read(65536):
                self._end = (self._end + data)[-KEPT_BYTES:]

    def last_line(self) -> str:
        """Return the last line that is not empty."""
        self._thread.join(READ_AFTER_S)
        lines = self._end.decode("utf-8", "replace").split("\n")
        return next((line.strip()[:LONGEST_LINE] for line in reversed(lines) if line.strip()), "")
