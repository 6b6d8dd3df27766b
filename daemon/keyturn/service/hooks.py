"""Messages to the shop: a command of the operator's is run on each outcome, with its record as JSON on stdin.

A hook runs on a thread of its own with a time limit; one that fails, hangs or floods costs a line in the log.
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

WAITING_MOST = 100
"""Outcomes that wait for a slow hook; beyond that new ones are not told, and the log says so."""

Event = Literal["ready", "refused"]


@dataclass(frozen=True, slots=True)
class _Call:
    command: tuple[str, ...]
    message: bytes
    seconds: float


class Hooks:
    """Use: `tell("ready", {...})` from anywhere, `close()` at the end."""

    def __init__(self) -> None:
        self._calls: queue.Queue[_Call | None] = queue.Queue(WAITING_MOST)
        self._thread: threading.Thread | None = None

    def tell(self, event: Event, record: dict[str, Any], settings: HookSettings) -> None:
        """Queues the event's command, if the shop has one. Returns at once, whatever the command does."""
        command = getattr(settings, event)
        if not command:
            return
        message = json.dumps({"event": event, **record}, ensure_ascii=False).encode("utf-8")
        try:
            self._calls.put_nowait(_Call(command, message, settings.seconds))
        except queue.Full:
            logger.warning("the {} hook is too slow; an outcome was not told", event)
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="hooks", daemon=True)
            self._thread.start()

    def _work(self) -> None:
        while (call := self._calls.get()) is not None:
            run(call.command, call.message, call.seconds)

    def close(self, patience_s: float = 5.0) -> None:
        """Lets the waiting hooks run for a little while; the rest are not told."""
        if self._thread is None:
            return
        try:
            self._calls.put(None, timeout=patience_s)
        except queue.Full:
            return
        self._thread.join(patience_s)


def run(
    command: tuple[str, ...],
    message: bytes,
    seconds: float,
    popen: Callable[..., subprocess.Popen[bytes]] = subprocess.Popen,
) -> None:
    """Runs one hook to its end or its time limit; then it and all it started are ended. Never raises."""
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
