"""Tasks that workers of a cluster import: what they were sent, slow ones and fatal ones."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Letter:
    """Files at more than one depth, as a frame with a backdrop and figures has them."""

    number: int
    path: Path
    more: tuple[tuple[Path, str], ...] = ()


def opened(letter: Letter) -> tuple[str, bytes, tuple[bytes, ...]]:
    return str(letter.path), letter.path.read_bytes(), tuple(path.read_bytes() for path, _ in letter.more)


def slow(number: int) -> int:
    time.sleep(0.2)
    return number


def endless(number: int) -> int:
    time.sleep(3600)
    return number


def fatal(number: int) -> int:
    """4 ends the cluster's worker itself: the parent of the fork server that started this process."""
    if number == 4:
        stat = Path(f"/proc/{os.getppid()}/stat").read_text()
        worker = int(stat.rpartition(")")[2].split()[1])
        assert worker > 1, "this process has lost its parents"
        os.kill(worker, signal.SIGKILL)
        time.sleep(60)
    return number


FATAL_LATE = 50


def fatal_late(number: int) -> int:
    """As `fatal`, but for a job that travels with others: by then the task is known to be short."""
    return number if number != FATAL_LATE else fatal(4)


def full(number: int) -> int:
    raise OSError(28, "No space left on device", "/scratch")


@dataclass(frozen=True)
class Drawing:
    """A job with files at two depths."""

    art: Path
    layers: tuple[Path, ...]
    number: int


def size_of(job: Drawing) -> tuple[int, int]:
    """A task that reads its files."""
    return len(job.art.read_bytes()), sum(len(layer.read_bytes()) for layer in job.layers)
