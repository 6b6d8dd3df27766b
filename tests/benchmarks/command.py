"""How long does a person wait for the command itself? `python tests/benchmarks/command.py [--rounds 7] [--jobs 300]`

Each row is a fresh process, from its start to its end, taken in turns with all others after one round that is not
measured. The first two are the floor: Python alone, and Python with the libraries that print and check. Nothing passes
or fails: it prints a table (Markdown) of medians.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import grown
import measure

INBOX = Path(__file__).parents[2] / "sample_inbox"
FLOOR = "`python -c pass`"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--jobs", type=int, default=300, help="jobs in the grown shop")
    parser.add_argument("--drop", default="ferry-glide", help="a drop of the sample inbox")
    asked = parser.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-command-") as folder:
        _measure(Path(folder), asked)


def _measure(scratch: Path, asked: argparse.Namespace) -> None:
    environment = measure.installed(scratch)
    drop = INBOX / asked.drop
    empty, full = grown.opened(scratch / "empty"), grown.opened(scratch / "full")
    grown.grow(full, grown.made_once(drop, scratch / "one"), asked.jobs, refused=asked.jobs // 10)
    sheets = scratch / "sheets"
    keyturn = grown.KEYTURN
    rows: dict[str, Callable[[], list[str | Path]]] = {
        FLOOR: lambda: [sys.executable, "-c", "pass"],
        '`python -c "import typer, rich, pydantic"`': lambda: [sys.executable, "-c", "import typer, rich, pydantic"],
        "`keyturn --version`": lambda: [*keyturn, "--version"],
        "`keyturn status`, an empty shop": lambda: [*keyturn, "status", "--root", empty.root],
        f"`keyturn status`, {asked.jobs} jobs": lambda: [*keyturn, "status", "--root", full.root],
        f"`keyturn check {asked.drop}`": lambda: [*keyturn, "check", drop],
        f"`keyturn make {asked.drop}`": lambda: [*keyturn, "make", drop, "--out", sheets],
    }
    costs: dict[str, list[tuple[float, float]]] = {row: [] for row in rows}
    for taken in range(-1, asked.rounds):
        for row, command in rows.items():
            shutil.rmtree(sheets, ignore_errors=True)
            cost = _cost(command(), environment)
            if taken >= 0:
                costs[row].append(cost)
    _table(costs)


def _cost(command: list[str | Path], environment: dict[str, str]) -> tuple[float, float]:
    """Seconds of wall clock and of processor time, all processes of the command included."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _table(costs: dict[str, list[tuple[float, float]]]) -> None:
    floor = statistics.median(wall for wall, _ in costs[FLOOR])
    print("| a fresh process | wall, s | least, s | processor, s | times Python alone |\n|---|---:|---:|---:|---:|")
    for row, taken in costs.items():
        wall = statistics.median(wall for wall, _ in taken)
        least, cpu = min(wall for wall, _ in taken), statistics.median(cpu for _, cpu in taken)
        print(f"| {row} | {wall:.2f} | {least:.2f} | {cpu:.2f} | {wall / floor:.1f} |")


if __name__ == "__main__":
    main()
