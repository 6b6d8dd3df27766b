"""What runs inside a worker of the local crew: its limits, its end, and one task at a time under them.

Kept apart from `crew`, which needs settings and a log, so that a worker imports neither.
"""

from __future__ import annotations

import ctypes
import fcntl
import math
import os
import resource
import signal
from collections.abc import Callable
from multiprocessing import connection, parent_process
from typing import TypeVar

OPEN_FILES = 64
"""A worker needs its pipes, the picture it reads and two open clips."""

J = TypeVar("J")
R = TypeVar("R")


def within_cpu(task: Callable[[J], R], job: J, cpu_seconds: int) -> R:
    """Runs the task with a limit on its own processor time: RLIMIT_CPU counts a process's whole life, so it
    is set anew for each task; beyond it the kernel ends the worker with SIGXCPU (setrlimit(2))."""
    used = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(used) + cpu_seconds, hard))
    return task(job)


def prepare(memory_mib: int) -> None:
    """Limits of one worker, and its end with its parents': a killed service leaves no workers behind.

    RLIMIT_AS counts what was imported before the fork as well: about 180 MiB of address space.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (memory_mib * 2**20, memory_mib * 2**20))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # frames go back through a pipe; a worker writes no file
    resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES))
    _end_with_fork_server()
    _end_with_service()


def _end_with_fork_server() -> None:
    pr_set_pdeathsig = 1  # prctl(2)
    ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGKILL)


def _end_with_service() -> None:
    """The fork server, a worker's parent for the kernel, outlives the service as long as one worker does, and a
    worker may be busy for long, or hang. So the kernel shall tell it when the other end of the pipe that comes from
    the service closes: by SIGIO, which ends a process (fcntl(2) O_ASYNC, signal(7))."""
    service = parent_process()
    assert service, "a worker is started by multiprocessing"
    fcntl.fcntl(service.sentinel, fcntl.F_SETOWN, os.getpid())
    fcntl.fcntl(service.sentinel, fcntl.F_SETFL, fcntl.fcntl(service.sentinel, fcntl.F_GETFL) | os.O_ASYNC)
    if connection.wait([service.sentinel], timeout=0):  # it had gone before
        os._exit(1)
