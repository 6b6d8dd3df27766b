"""Does a drop cost the same in a shop that has been at work for years? `python tests/benchmarks/growth.py`

The same drops go through a real service in an empty shop, in one with thousands of jobs in outbox and archive (many
customers; the one the drops are for has 600 revisions), and in that one while a thousand drops wait. Processor time is
the service process's own, for the frames are the workers'; with them it stands beside. Then what the service costs
while nothing happens, and the memory of a long job beside a short one's. Nothing passes or fails: it prints tables
(Markdown). Shops are visited in turns, so that what else the machine does weighs on all.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import tempfile
import time
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import grown
import measure
from grown import KEYTURN, own_cpu, until
from measure import tree_cpu

from keyturn.inbox import waiting
from keyturn.service import backoff
from keyturn.shop.folders import Shop

PAUSED_MOUNT = "size=4k"


@dataclass(frozen=True, slots=True)
class Spent:
    """A drop: seconds of the service process, of it and its workers, and by the clock."""

    own: float
    tree: float
    wall: float


def main() -> None:
    asked = _arguments()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-growth-", dir=asked.where) as folder:
        scratch = Path(folder)
        if "drops" in asked.parts or "idle" in asked.parts:
            _growth(asked, scratch)
        if "memory" in asked.parts:
            _memory(scratch, asked.long)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", nargs="+", choices=("drops", "idle", "memory"), default=["drops", "idle", "memory"])
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--waiting", type=int, default=1000)
    parser.add_argument("--frames", type=int, nargs="+", default=[48, 4], help="of a measured drop")
    parser.add_argument("--drops", type=int, default=6, help="measured in a shop and round")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--idle", type=float, default=60, help="seconds for which the service is watched")
    parser.add_argument("--long", type=int, default=2000, help="frames of the long job")
    parser.add_argument("--where", type=Path, help="where the shops are built; default the system's temporary folder")
    return parser.parse_args()


def _growth(asked: argparse.Namespace, scratch: Path) -> None:
    pictures = grown.drawn(scratch / "art", max(asked.frames))
    revision = grown.made_once(grown.lay(scratch / "model", pictures, grown.manifest()), scratch / "made")
    shops = {name: grown.opened(scratch / name) for name in ("empty", "grown")}
    grown.grow(shops["grown"], revision, asked.jobs)
    _print_starts(shops)
    if "drops" in asked.parts:
        for frames in asked.frames:
            _print_drops(asked, shops, pictures[:frames])
    if "idle" in asked.parts:
        _print_idle(asked, shops, pictures[:3])


# -- starting ---------------------------------------------------------------------------------------------


def _print_starts(shops: dict[str, Shop]) -> None:
    print("| start | service CPU s, ledger built anew | service CPU s, ledger there |\n|---|---:|---:|")
    for name, shop in shops.items():
        cells = []
        for _ in range(2):
            with grown.service(shop) as process:
                cells.append(f"{own_cpu(process.pid):.2f}")
        print(f"| {name} | {' | '.join(cells)} |", flush=True)
    print()


# -- drops ------------------------------------------------------------------------------------------------


def _print_drops(asked: argparse.Namespace, shops: dict[str, Shop], pictures: list[Path]) -> None:
    waits = f"grown, {asked.waiting} waiting"
    costs: dict[str, list[Spent]] = {name: [] for name in (*shops, waits)}
    for turn in range(asked.rounds):
        for name in costs:
            shop = shops.get(name, shops["grown"])
            if name == waits:
                grown.queue(shop, pictures[:3], asked.waiting)
            costs[name].append(_spent(shop, pictures, asked.drops, f"n{len(pictures)}-{turn}-{len(name)}"))
            for left in shop.inbox.iterdir() if name == waits else ():
                shutil.rmtree(left)
    print(f"A drop of {len(pictures)} frames, {asked.drops} in a row, {asked.rounds} rounds, medians:\n")
    print("| shop | service CPU ms | with workers ms | wall ms | of empty: service CPU | with workers | wall |")
    print("|---|" + "---:|" * 6)
    for name, spent in costs.items():
        each = [[getattr(s, what) for s in spent] for what in ("own", "tree", "wall")]
        base = [[getattr(s, what) for s in costs["empty"]] for what in ("own", "tree", "wall")]
        cells = [f"{1000 * statistics.median(values):.0f}" for values in each]
        cells += [f"{statistics.median(v) / statistics.median(b):.2f}" for v, b in zip(each, base, strict=True)]
        print(f"| {name} | {' | '.join(cells)} |")
    print(flush=True)


def _spent(shop: Shop, pictures: list[Path], drops: int, name: str) -> Spent:
    """From the moment the first of the drops is published until the last is: the workers are warm then."""
    with grown.service(shop) as process:
        for number in range(drops + 1):
            laid = grown.lay(shop.root / "laying", pictures, grown.manifest(rush=True))
            laid.rename(shop.inbox / f"{name}-{number}")
        clocks: list[tuple[float, float, float]] = []
        for published in range(1, drops + 2):
            until(lambda published=published: _published(shop, name, drops) >= published)
            clocks.append((own_cpu(process.pid), tree_cpu(process.pid), time.perf_counter()))
    return Spent(*((after - before) / drops for before, after in zip(clocks[0], clocks[-1], strict=True)))


def _published(shop: Shop, name: str, drops: int) -> int:
    places = (shop.outbox / grown.REGULAR_FOLDER / f"{name}-{number}-r1" for number in range(drops + 1))
    return sum(place.exists() for place in places)


# -- idle ---------------------------------------------------------------------------------------------------


def _print_idle(asked: argparse.Namespace, shops: dict[str, Shop], pictures: list[Path]) -> None:
    print(f"Idle, default settings, {asked.idle:.0f} s each:\n")
    print("| shop | service CPU % | with its children % | RSS MiB | PSS of all MiB |\n|---|---:|---:|---:|---:|")
    for name, shop in shops.items():
        _print_idle_row(name, shop, asked.idle)
    grown.queue(shops["grown"], pictures, asked.waiting, whole=False)
    _print_idle_row(
        f"grown, {asked.waiting} waiting, none whole", shops["grown"], asked.idle, after_s=2 * waiting.LONGEST_PAUSE_S
    )
    for left in shops["grown"].inbox.iterdir():
        shutil.rmtree(left)
    grown.queue(shops["grown"], pictures, asked.waiting)
    with ExitStack() as stack:
        full = ["mount", "-t", "tmpfs", "-o", PAUSED_MOUNT, "none", shops["grown"].work]
        if subprocess.run(full, capture_output=True).returncode:
            print("| paused: left out, mounting is not allowed here | | | | |")
            return
        stack.callback(subprocess.run, ["umount", shops["grown"].work], check=True)
        (shops["grown"].work / "filler").write_bytes(b"x")
        name = f"grown, {asked.waiting} waiting, paused: work is full"
        _print_idle_row(name, shops["grown"], asked.idle, 2 * backoff.RETRY_MOST_S)


def _print_idle_row(name: str, shop: Shop, seconds: float, after_s: float = 20) -> None:
    """Watched once what starting leaves to do is done, and drops have settled."""
    with grown.service(shop) as process:
        time.sleep(after_s)
        before = own_cpu(process.pid), tree_cpu(process.pid)
        time.sleep(seconds)
        own, tree = (
            (now - then) / seconds * 100
            for now, then in zip((own_cpu(process.pid), tree_cpu(process.pid)), before, strict=True)
        )
        resident, proportional = grown.held_mib(process.pid)
    print(f"| {name} | {own:.2f} | {tree:.2f} | {resident:.0f} | {proportional:.0f} |", flush=True)


# -- memory -------------------------------------------------------------------------------------------------


def _memory(scratch: Path, long: int) -> None:
    print("| one job by `keyturn make` | peak PSS of all processes MiB | of the short one |\n|---|---:|---:|")
    more = "[motion]\nfps = 30\n"
    short = 0.0
    for frames in (100, long):
        drop = grown.lay(
            scratch / f"job-{frames}", grown.bars(scratch / f"bars-{frames}", frames), grown.manifest(more=more)
        )
        cost, _ = measure.run([*KEYTURN, "make", drop, "--out", scratch / f"out-{frames}"], quiet=True)
        short = short or cost.peak
        print(f"| {frames} frames | {cost.peak:.0f} | {cost.peak / short:.2f} |", flush=True)


if __name__ == "__main__":
    main()
