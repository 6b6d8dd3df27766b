"""What runs inside a worker process of the local crew: it sets its limits, and runs a task within them.

It is a module of its own so that a worker does not import the settings and the log, which `crew` needs.
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
from pathlib import Path
from typing import TypeVar

OPEN_FILES = 64
"""A worker needs its pipes, the picture it reads and two open clips."""

J = TypeVar("J")
R = TypeVar("R")


def within_cpu(task: Callable[[J], R], job: J, cpu_seconds: int) -> R:
    """Run the task with at most `cpu_seconds` of processor time.

    RLIMIT_CPU counts the whole life of a process, so it is set anew for each task. Beyond it the kernel ends the worker
    with SIGXCPU (setrlimit(2)).
    """
    used = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(used) + cpu_seconds, hard))
    return task(job)


def nothing(job: None) -> bool:
    """Do nothing: a worker that returns from this was started and has its limits."""
    return True


def held_mib(pid: int) -> float:
    """Return the memory of a worker that is not a file's, in MiB (proc(5), statm); 0 where it has ended.

    About 36 MiB of it come from the fork and are shared by all workers.
    """
    try:
        _, resident, shared = Path(f"/proc/{pid}/statm").read_text().split()[:3]
    except (FileNotFoundError, ProcessLookupError):
        return 0.0
    return (int(resident) - int(shared)) * resource.getpagesize() / 2**20


def prepare(memory_mib: int) -> None:
    """Set the limits of this worker, and make it end with the service: a killed service leaves no workers behind.

    `memory_mib` limits the address space. RLIMIT_AS counts what was imported before the fork too, about 180 MiB.
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
    """Make the kernel kill this worker when its parent process ends."""
    pr_set_pdeathsig = 1  # prctl(2)
    ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGKILL)


def _end_with_service() -> None:
    """Make the kernel end this worker when the service has ended.

    The worker's parent is the fork server, which outlives the service as long as one worker lives, and a worker may be
    busy for long, or hang. So the kernel is asked to send SIGIO, which ends the process, when the service's end of
    their common pipe closes (fcntl(2) O_ASYNC, signal(7)).
    """
    service = parent_process()
    assert service, "a worker is started by multiprocessing"
    fcntl.fcntl(service.sentinel, fcntl.F_SETOWN, os.getpid())
    fcntl.fcntl(service.sentinel, fcntl.F_SETFL, fcntl.fcntl(service.sentinel, fcntl.F_GETFL) | os.O_ASYNC)
    if connection.wait([service.sentinel], timeout=0):  # it ended before the signal was set up
        os._exit(1)
