"""Runs the real service with its crew of processes on a shop until it is quiet, and tells what memory it took.

    python with_crew.py ROOT

Drops called "changing", "vanishing" and "shrinking" are tampered with once, between reading and making.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from keyturn import pipeline
from keyturn.service.loop import Service
from keyturn.shop.folders import Shop

LOOK_EVERY_S = 0.1


def changing(drop: Path) -> None:
    if not (drop / "late.txt").exists():
        (drop / "late.txt").write_text("late")


def vanishing(drop: Path) -> None:
    shutil.rmtree(drop)


def shrinking(drop: Path) -> None:
    for path in drop.glob("lamps/*.png"):
        os.truncate(path, 10)


TAMPERING: dict[str, Callable[[Path], None]] = {f.__name__: f for f in (changing, vanishing, shrinking)}


def tamper() -> None:
    real = pipeline.understand

    def understand(drop: pipeline.OpenedDrop, name: str, *rest: Any) -> pipeline.Job:
        job = real(drop, name, *rest)
        TAMPERING.get(name, lambda drop: None)(drop.found.root)
        return job

    pipeline.understand = understand


class Peaks(threading.Thread):
    """The largest resident size so far (proc_pid_status(5), VmHWM, KiB) of each process that this one has started,
    and what all of them took at one time. A process's last moment may be missed, for it is looked at from outside."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.kib: dict[int, int] = {}
        self.together_kib = 0

    def run(self) -> None:
        while True:
            there = {pid: sizes for pid in below(os.getpid()) if (sizes := resident(pid))}
            self.kib |= {pid: most for pid, (most, _) in there.items()}
            self.together_kib = max(self.together_kib, sum(now for _, now in there.values()))
            time.sleep(LOOK_EVERY_S)


def resident(pid: int) -> tuple[int, int] | None:
    """VmHWM and VmRSS in KiB; None for a process that has gone."""
    try:
        text = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return None
    sizes = [re.search(rf"{name}:\s+(\d+) kB", text) for name in ("VmHWM", "VmRSS")]
    return (int(sizes[0][1]), int(sizes[1][1])) if sizes[0] and sizes[1] else None


def below(pid: int) -> list[int]:
    """The processes started by `pid`, and by those."""
    children = []
    for path in Path(f"/proc/{pid}/task").glob("*/children"):
        with suppress(OSError):
            children += [int(child) for child in path.read_text().split()]
    return [*children, *(grandchild for child in children for grandchild in below(child))]


def main() -> None:
    tamper()
    peaks = Peaks()
    peaks.start()
    Service(Shop(Path(sys.argv[1]))).run(until_quiet=True)
    own = resident(os.getpid())
    assert own
    sizes = {"own_kib": own[0], "workers": len(peaks.kib), "largest_kib": max(peaks.kib.values(), default=0)}
    print(json.dumps(sizes | {"together_kib": peaks.together_kib}))


if __name__ == "__main__":
    main()
