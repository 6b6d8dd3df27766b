"""How worker processes start: by a fork of a process that has imported what they need.

Imports take longer than many small jobs. A program with a single thread, as a command has at its start, forks its
workers itself. With more threads a fork is not safe: a lock that another thread holds stays held in the child
(fork(2)). Then multiprocessing's fork server forks them; it runs no threads and has imported the same modules.
"""

from __future__ import annotations

import importlib
from multiprocessing.context import ForkProcess, ForkServerContext, ForkServerProcess
from pathlib import Path
from typing import Any


class ForkingContext(ForkServerContext):
    """A multiprocessing context that forks a process itself where it is safe, else by the fork server.

    `preload` names the module to import before a fork; none where it is empty.
    """

    def __init__(self, preload: str = "") -> None:
        super().__init__()
        self._preload = preload
        self.set_forkserver_preload([preload] if preload else [])

    def Process(self, *args: Any, **options: Any) -> ForkProcess | ForkServerProcess:  # type: ignore[override]  # noqa: N802
        if self._preload and is_alone():
            importlib.import_module(self._preload)
        return (ForkProcess if is_alone() else ForkServerProcess)(*args, **options)


def is_alone() -> bool:
    """Whether this process has one thread only, those of libraries included (proc(5))."""
    return sum(1 for _ in Path("/proc/self/task").iterdir()) == 1
