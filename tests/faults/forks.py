"""Runs the service in processes forked from this one, by itself or with its system calls handed to a function.

Such a process must be warm (zygote.warm_up) and have one thread.
"""

from __future__ import annotations

import os
import socket
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from faults import zygote
from faults.running import CHANGING, OPENING, READING, Ended
from faults.watched import Answer, Asked, Listener, asked_for, give_over, tells_where
from faults.zygote import CRASHED, QUIET, Clock

ALL = [*CHANGING, *READING, *OPENING]


class Forks:
    """One run at a time. `desk` is a folder for logs, outside of any shop. `where` is the file to which a watched
    process tells where in the code it is: see `watched.TELL`."""

    def __init__(self, desk: Path) -> None:
        self._log = desk / "log"
        self.where = desk / "where"

    def run(self, root: Path, **order: Any) -> Ended:
        """The service on the shop in `root` until it is quiet."""
        given = self._order(root, order)
        return self._forked(lambda: zygote.serve(given, zygote.clock_of(given)))

    def watched(self, names: list[str], answer: Callable[[Clock], Answer], root: Path, **order: Any) -> Ended:
        """As `run`, with each call of `names` put to the answer. That shares the clock with the service."""
        given = self._order(root, order)
        clock = zygote.clock_of(given)
        return self._forked(lambda: zygote.serve(given, clock), asked_for(names), answer(clock))

    def calling(self, work: Callable[[], object]) -> Ended:
        """Any work."""

        def done() -> int:
            work()
            return QUIET

        return self._forked(done)

    def _order(self, root: Path, order: dict[str, Any]) -> dict[str, Any]:
        return {"root": str(root), **order}

    def _forked(self, work: Callable[[], int], names: list[str] | None = None, answer: Answer | None = None) -> Ended:
        ours, theirs = socket.socketpair()
        with ours, theirs:
            pid = os.fork()
            if pid == 0:
                _child(work, str(self._log), names, theirs, self.where)
            theirs.close()
            if answer is not None:
                self._answer(pid, ours, answer)
            _, status, usage = os.wait4(pid, 0)
        log = self._log.read_text(errors="replace")
        return Ended(os.waitstatus_to_exitcode(status), usage.ru_maxrss, log)

    @staticmethod
    def _answer(pid: int, link: socket.socket, answer: Answer) -> None:
        listener = Listener(pid, link)
        try:
            listener.answer_all(answer)
        finally:
            listener.close()


def _child(work: Callable[[], int], log: str, names: list[str] | None, link: socket.socket, where: Path) -> None:
    code = CRASHED
    try:
        zygote.log_to(log)
        if names is not None:
            tells_where(where)
            give_over(names, link)
        code = work()
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


class Places:
    """Whether a call touches a folder, or what is in it."""

    def __init__(self, *folders: Path) -> None:
        self._exact = {str(folder) for folder in folders}
        self._below = tuple(f"{folder}/" for folder in folders)

    def touched(self, call: Asked) -> bool:
        return any(path.startswith(self._below) or path in self._exact for path in call.paths)
