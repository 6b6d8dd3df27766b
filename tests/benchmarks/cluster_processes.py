"""A Dask cluster for the benchmarks: a scheduler and workers in processes of their own, so that each one's cost is told
apart, and each can be ended."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import distributed
import measure


class ClusterProcesses:
    """Processes on this machine, with their files in `folder`. The scheduler comes back under the same address."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self._port = str(probe.getsockname()[1])
        self.address = f"tcp://127.0.0.1:{self._port}"
        self._folder = folder
        self._scheduler: subprocess.Popen[bytes] | None = None
        self._workers: list[subprocess.Popen[bytes]] = []

    def start(self, workers: int) -> None:
        self._scheduler = self._started("scheduler", "--host", "127.0.0.1", "--port", self._port, "--no-dashboard")
        self.add_workers(workers)

    def add_workers(self, count: int) -> None:
        options = ("--nthreads", "1", "--local-directory", str(self._folder), "--no-dashboard")
        self._workers += [self._started("worker", self.address, *options) for _ in range(count)]
        with distributed.Client(self.address, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(len(self._workers), timeout=60)

    def kill_a_worker(self) -> None:
        """Kill one with what it holds. Its nanny starts another."""
        with distributed.Client(self.address, set_as_default=False) as client:
            os.kill(random.choice(list(client.run(os.getpid).values())), signal.SIGKILL)

    def start_anew(self) -> None:
        """Kill the scheduler, and start everything again, as systemd does where it looks after them."""
        workers = len(self._workers)
        assert self._scheduler
        self._scheduler.kill()
        self.end()
        self.start(workers)

    def cpu_s(self) -> float:
        """Processor seconds so far of all these processes and those under them."""
        return sum(measure.tree_cpu(process.pid) for process in (*self._workers, self._scheduler) if process)

    def end(self) -> None:
        for process in (*self._workers, self._scheduler):
            if process is not None:
                process.terminate()
                process.wait(60)
        self._workers, self._scheduler = [], None

    def _started(self, program: str, *options: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{program}", *options]
        return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@contextmanager
def a_cluster(folder: Path, workers: int) -> Iterator[ClusterProcesses]:
    processes = ClusterProcesses(folder)
    try:
        processes.start(workers)
        yield processes
    finally:
        processes.end()
