"""Wall clock, processor time and peak memory of a command and all that it starts."""

from __future__ import annotations

import ctypes
import os
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

_PR_SET_CHILD_SUBREAPER = 36
"""prctl(2): orphans of the command come to us, so that their time is counted too."""

_LOOK_S = 0.05


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds, seconds, MiB. Memory is the sum of the processes' proportional set sizes (proc(5), smaps_rollup)."""

    wall: float
    cpu: float
    peak: float


def installed(scratch: Path) -> dict[str, str]:
    """An environment in which Python keeps what it has compiled, as it does for a program that was installed."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPYCACHEPREFIX": str(scratch / "compiled")}


def run(
    command: Sequence[str | Path], environment: Mapping[str, str] | None = None, *, quiet: bool = False
) -> tuple[Cost, str]:
    """The cost of `command`, and what it printed. Raises CalledProcessError where it fails.

    Where it is to be `quiet`, what it says of its progress is not shown.
    """
    ctypes.CDLL(None).prctl(_PR_SET_CHILD_SUBREAPER, 1)
    start = time.perf_counter()
    process = subprocess.Popen(
        command,
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL if quiet else None,
        text=True,
        env=environment,
    )
    watch = _Memory(process.pid)
    assert process.stdout
    printed = process.stdout.read()
    _, status, used = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    watch.stop()
    process.returncode = os.waitstatus_to_exitcode(status)
    cpu = used.ru_utime + used.ru_stime + _orphans()
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, list(map(str, command)))
    return Cost(wall, cpu, watch.peak / 1024), printed


def _orphans() -> float:
    """Processor time of whatever the command left behind, once it has ended."""
    cpu = 0.0
    with suppress(ChildProcessError):
        while True:
            used = os.wait4(-1, 0)[2]
            cpu += used.ru_utime + used.ru_stime
    return cpu


class _Memory:
    """Looks at a session's processes twenty times a second; the same for every contender."""

    def __init__(self, session: int) -> None:
        self.peak = 0
        self._session = session
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._over.wait(_LOOK_S):
            pids = [int(entry.name) for entry in Path("/proc").iterdir() if entry.name.isdigit()]
            held = sum(pss_kib(pid) for pid in pids if _session(pid) == self._session)
            self.peak = max(self.peak, held)


def _session(pid: int) -> int:
    try:
        return os.getsid(pid)
    except ProcessLookupError:
        return -1


def pss_kib(pid: int) -> int:
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1])
    return 0


def busy_s() -> float:
    """Seconds that all processors together have worked since the machine started (proc(5), stat)."""
    user, nice, system = map(int, Path("/proc/stat").read_text().split(maxsplit=4)[1:4])
    return (user + nice + system) / os.sysconf("SC_CLK_TCK")


def tree_cpu(pid: int) -> float:
    """Processor seconds so far of a process and those under it that still live."""
    cpu = 0.0
    for child in Path(f"/proc/{pid}/task").glob("*/children"):
        cpu += sum(tree_cpu(int(each)) for each in child.read_text().split())
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return cpu + (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
