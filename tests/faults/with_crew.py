"""Runs the real service with its crew of processes on a shop until it is quiet, and tells what memory it took.

    python with_crew.py ROOT

Drops called "changing", "vanishing" and "shrinking" are tampered with once, between reading and making.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from keyturn import line
from keyturn.service import Service
from keyturn.shop import Shop


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
    real = line.understand

    def understand(drop: Path, name: str, *rest: Any) -> line.Job:
        job = real(drop, name, *rest)
        TAMPERING.get(name, lambda drop: None)(drop)
        return job

    line.understand = understand


def main() -> None:
    tamper()
    Service(Shop(Path(sys.argv[1]))).run(until_quiet=True)
    own, workers = (resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(json.dumps({"own_kib": own, "workers_kib": workers}))


if __name__ == "__main__":
    main()
