"""Where worker processes come from: forked from whatever has imported their programs already.

Importing takes longer than many a small job. A program that has a single thread, as a command has at its start,
forks its workers itself. With more threads a fork is not safe (fork(2): a lock that another thread holds stays held
in the child), so then multiprocessing's fork server does it, which runs none and has imported `keyturn.warm`.
"""

from __future__ import annotations

import importlib
from multiprocessing.context import ForkProcess, ForkServerContext, ForkServerProcess
from pathlib import Path
from typing import Any

WARM = "keyturn.package.preload"


class Forking(ForkServerContext):
    """A context of multiprocessing, which decides anew for each process."""

    def __init__(self) -> None:
        super().__init__()
        self.set_forkserver_preload([WARM])

    def Process(self, *args: Any, **options: Any) -> ForkProcess | ForkServerProcess:  # type: ignore[override]  # noqa: N802
        if is_alone():
            importlib.import_module(WARM)
        return (ForkProcess if is_alone() else ForkServerProcess)(*args, **options)


def is_alone() -> bool:
    """Whether this process has one thread only; those of libraries count (proc(5))."""
    return sum(1 for _ in Path("/proc/self/task").iterdir()) == 1
