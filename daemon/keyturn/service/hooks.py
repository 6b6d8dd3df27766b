"""Hooks: the operator's own command for an outcome is run, with the outcome's record as JSON on its stdin.

Hooks run one after the other on a thread of their own, each with a time limit. One that fails or hangs costs a line in
the log and nothing else.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from loguru import logger

from keyturn.shop.settings import HookSettings

MOST_WAITING = 100
"""So many outcomes wait for a slow hook. Later ones are left out, and the log says so."""

Event = Literal["ready", "refused"]
"""What became of a drop; also the name of its command in [hooks] of keyturn.toml."""


@dataclass(frozen=True, slots=True)
class _HookCall:
    """One command still to be run, the bytes for its stdin and its time limit in seconds."""

    command: tuple[str, ...]
    message: bytes
    seconds: float


class Hooks:
    """Runs hooks. `add` may be called from any thread; call `close` at the end."""

    def __init__(self) -> None:
        self._calls: queue.Queue[_HookCall | None] = queue.Queue(MOST_WAITING)
        self._thread: threading.Thread | None = None

    def add(self, event: Event, record: dict[str, Any], settings: HookSettings) -> None:
        """Queue the event's command where the shop has one. Return at once, whatever the command does."""
        command = getattr(settings, event)
        if not command:
            return
        message = json.dumps({"event": event, **record}, ensure_ascii=False).encode("utf-8")
        try:
            self._calls.put_nowait(_HookCall(command, message, settings.seconds))
        except queue.Full:
            logger.warning("the {} hook is too slow: it was not run for one outcome", event)
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="hooks", daemon=True)
            self._thread.start()

    def _work(self) -> None:
        while (call := self._calls.get()) is not None:
            run(call.command, call.message, call.seconds)

    def close(self, timeout_s: float = 5.0) -> None:
        """Let the waiting hooks run for a little while. Those that are left then are not run."""
        if self._thread is None:
            return
        try:
            self._calls.put(None, timeout=timeout_s)
        except queue.Full:
            return
        self._thread.join(timeout_s)


def run(
    command: tuple[str, ...],
    message: bytes,
    seconds: float,
    popen: Callable[..., subprocess.Popen[bytes]] = subprocess.Popen,
) -> None:
    """Run one hook. At its time limit kill it and every process it started. Log what goes wrong; never raise."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    try:
        process = popen(command, start_new_session=True, **pipes)
    except OSError as error:
        logger.warning("the hook {} cannot be run: {}", command[0], error.strerror)
        return
    try:
        process.communicate(message, timeout=seconds)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        logger.warning("the hook {} took longer than {:g} s and was ended", command[0], seconds)
        return
    except OSError as error:
        logger.warning("the hook {} failed: {}", command[0], error)
        return
    if process.returncode:
        logger.warning("the hook {} ended with code {}", command[0], process.returncode)
