"""Starts the service from the zygote, by itself or under strace, and reads strace's account of it.

The service runs on one thread there (see zygote.py), so strace's `when=` counts, which are kept for each thread
and each system call (strace(1)), name one place in its run.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CHANGING = (
    "rename renameat renameat2 mkdir mkdirat unlink unlinkat rmdir link linkat symlink symlinkat mknod mknodat "
    "write pwrite64 writev pwritev copy_file_range sendfile ftruncate truncate fallocate fsync fdatasync "
    "chmod fchmod fchmodat utimensat flock"
).split()
READING = "newfstatat stat lstat statx getdents64 read pread64".split()
OPENING = "open openat creat".split()

PATIENCE_S = 120
"""Only a run that hangs takes so long."""

_LINE = re.compile(r"(\w+)\((.*)\)\s+= (-?\d+|\?)")


@dataclass(frozen=True, slots=True)
class Call:
    """One system call that touches the shop: the `number`-th `name` of the run."""

    name: str
    number: int
    text: str

    @property
    def changes(self) -> bool:
        if self.name in OPENING:
            return any(flag in self.text for flag in ("O_CREAT", "O_WRONLY", "O_RDWR", "O_TRUNC"))
        return self.name in CHANGING

    @property
    def renames(self) -> bool:
        return self.name.startswith("rename")


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run ended: an exit code of zygote.py, or minus the signal."""

    code: int
    rss_kib: int
    log: str
    trace: str = ""

    @property
    def killed(self) -> bool:
        return self.code == -signal.SIGKILL


class Zygote:
    """Use as a context; one run at a time."""

    def __init__(self, desk: Path) -> None:
        """`desk` is a folder for logs and traces, outside of any shop."""
        self._desk = desk
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("zygote.py"))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={k: v for k, v in os.environ.items() if not k.startswith(("KEYTURN_", "COV_"))}
            | {"PYTHONHASHSEED": "0"},  # the order in which sets are walked
        )

    def __enter__(self) -> Zygote:
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin and self._process.stdout
        self._process.stdin.close()
        self._process.wait(PATIENCE_S)
        self._process.stdout.close()

    def run(self, root: Path, **order: Any) -> Ended:
        """The service on the shop in `root` until it is quiet."""
        self._order(root, order)
        return self._ended()

    def traced(self, root: Path, *strace: str, **order: Any) -> Ended:
        """As `run`, under strace with the options `strace`."""
        trace = self._desk / "trace"
        trace.write_text("")
        pid = self._order(root, order | {"stopped": True})
        _until(pid, r"State:\s+T")
        command = ["strace", "-q", "-y", "-s", "256", "-o", str(trace), *strace, "-p", str(pid)]
        tracer = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        _until(pid, r"TracerPid:\s+[1-9]", tracer)
        os.kill(pid, signal.SIGCONT)
        ended = self._ended()
        tracer.communicate(timeout=PATIENCE_S)
        return Ended(ended.code, ended.rss_kib, ended.log, trace.read_text(errors="surrogateescape"))

    def calls(self, root: Path, **order: Any) -> list[Call]:
        """Every call of a whole run that touches the shop, in order."""
        ended = self.traced(root, "-e", f"trace={','.join(known([*CHANGING, *READING, *OPENING]))}", **order)
        assert ended.code == 0, f"a run without faults ended with {ended.code}:\n{ended.log}"
        return calls(ended.trace, root)

    def killed_at(self, call: Call, root: Path, **order: Any) -> Ended:
        """Kills the service as it enters `call`, which then does not happen."""
        return self._injected(call, "signal=SIGKILL", f"{call.number}", root, order)

    def failing_at(self, call: Call, error: str, root: Path, *, times: int = 1, **order: Any) -> Ended:
        """`call` and the following ones of its name give `error` and do nothing, `times` in all."""
        when = f"{call.number}" if times == 1 else f"{call.number}..{call.number + times - 1}"
        return self._injected(call, f"error={error}", when, root, order)

    def _injected(self, call: Call, what: str, when: str, root: Path, order: dict[str, Any]) -> Ended:
        options = ("-e", f"trace={call.name}", "-e", f"inject={call.name}:{what}:when={when}")
        return self.traced(root, *options, **order)

    def _order(self, root: Path, order: dict[str, Any]) -> int:
        assert self._process.stdin
        self._log = self._desk / "log"
        self._process.stdin.write(json.dumps({"root": str(root), "log": str(self._log), **order}) + "\n")
        self._process.stdin.flush()
        return int(self._answer()["pid"])

    def _ended(self) -> Ended:
        said = self._answer()
        return Ended(said["code"], said["rss_kib"], self._log.read_text(errors="replace"))

    def _answer(self) -> dict[str, int]:
        assert self._process.stdout
        answer: dict[str, int] = json.loads(self._process.stdout.readline())
        return answer


def _until(pid: int, wanted: str, helper: subprocess.Popen[str] | None = None) -> None:
    """Waits until /proc/PID/status (proc(5)) says `wanted`, a pattern."""
    end = time.monotonic() + PATIENCE_S
    while not re.search(wanted, Path(f"/proc/{pid}/status").read_text()):
        if (helper and helper.poll() is not None) or time.monotonic() > end:
            os.kill(pid, signal.SIGKILL)
            raise RuntimeError(f"strace cannot attach: {helper.communicate()[1] if helper else 'no stop'}")
        time.sleep(0.001)


def known(names: list[str]) -> list[str]:
    """With a question mark strace forgives a call that this machine does not have."""
    return [f"?{name}" for name in names]


def calls(trace: str, root: Path) -> list[Call]:
    """The calls of a trace whose paths, or whose open files' paths, lie in `root`; numbers count all of a name."""
    counts: dict[str, int] = {}
    found = []
    for text in trace.splitlines():
        match = _LINE.match(text)
        if match is None:
            continue
        counts[match[1]] = counts.get(match[1], 0) + 1
        if text.startswith("write(2<"):  # the log tells of the shop's paths
            continue
        if f"{root}/" in text or f"{root}>" in text or f'"{root}"' in text:
            found.append(Call(match[1], counts[match[1]], text))
    return found
