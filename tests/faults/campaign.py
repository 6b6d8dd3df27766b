"""The fault campaign: ends or hampers the service at each system call that touches the shop, in turn.

    python tests/faults/campaign.py [--every 1] [--only kill|double|errno|burst] [--jobs 2] [--scenario drops]

For each point a fresh shop is laid, the service is run with one fault at that point, the folders are looked at
as the fault left them, the service is run again until it is quiet, and every promise is asked for.
"""

from __future__ import annotations

import argparse
import itertools
import os
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from faults import promises
from faults.promises import Asked
from faults.running import Call, Ended, Zygote
from faults.scenarios import SCENARIOS, laid
from faults.zygote import CRASHED, NEVER_QUIET, NOT_OPENED, QUIET

ERRORS = ("EIO", "ENOSPC", "EROFS", "EMFILE", "EACCES")
KINDS = ("kill", "double", "errno", "burst")
BURST = 8


@dataclass(frozen=True, slots=True)
class Point:
    """One fault. `second` is a call of the recovery run at which the service is killed again."""

    scenario: str
    kind: str
    call: Call
    error: str = ""
    second: Call | None = None

    def __str__(self) -> str:
        place = self.call.text[:160]
        after = f", then before {self.second.text[:120]}" if self.second else ""
        return f"{self.scenario} {self.kind} {self.error} {self.call.name}#{self.call.number}: {place}{after}"


@dataclass
class Tally:
    points: int = 0
    reached: int = 0
    asked: int = 0
    ended: Counter[str] = field(default_factory=Counter)
    broken: list[tuple[Point, list[str]]] = field(default_factory=list)

    def add(self, point: Point, reached: bool, ended: Ended, asked: Asked) -> None:
        self.points += 1
        self.reached += reached
        self.asked += asked.count
        self.ended[_how(ended)] += 1
        if asked.broken:
            self.broken.append((point, asked.broken))


def _how(ended: Ended) -> str:
    names = {QUIET: "went on", CRASHED: "crashed", NOT_OPENED: "did not start", NEVER_QUIET: "never quiet"}
    return "killed" if ended.killed else names.get(ended.code, f"code {ended.code}")


# -- which points ---------------------------------------------------------------------------------


def first_calls(scenario: str, zygote: Zygote, desk: Path) -> list[Call]:
    """The calls of a run without faults."""
    with laid(desk / "shop", SCENARIOS[scenario]) as (shop, _):
        return zygote.calls(shop.root, **SCENARIOS[scenario].order)


def recovery_calls(scenario: str, call: Call, zygote: Zygote, desk: Path) -> list[Call]:
    """The calls of the run that follows a kill at `call`."""
    order = SCENARIOS[scenario].order
    with laid(desk / "shop", SCENARIOS[scenario]) as (shop, _):
        zygote.killed_at(call, shop.root, **order)
        return zygote.calls(shop.root, **order)


def thinned(calls: Iterable[Call], every: int) -> list[Call]:
    """All renames, and each `every`-th of the rest."""
    return [call for number, call in enumerate(calls) if call.renames or number % every == 0]


def points(scenario: str, kind: str, every: int, zygote: Zygote, desk: Path) -> Iterator[Point]:
    calls = first_calls(scenario, zygote, desk)
    changing = [call for call in calls if call.changes]
    if kind == "kill":
        yield from (Point(scenario, kind, call) for call in thinned(changing, every))
    elif kind == "double":
        for first in [call for call in changing if call.renames]:
            again = [call for call in recovery_calls(scenario, first, zygote, desk) if call.changes]
            yield from (Point(scenario, kind, first, second=call) for call in again[:: 4 * every])
    else:
        errors = itertools.cycle(ERRORS) if every > 1 else None
        for call in thinned(calls, every) if every > 1 else calls:
            for error in [next(errors)] if errors else ERRORS:
                yield Point(scenario, kind, call, error)


# -- one point ------------------------------------------------------------------------------------


def tried(point: Point, zygote: Zygote, desk: Path) -> tuple[bool, Ended, Asked]:
    """Was the point reached, how did the service end there, and what of the promises."""
    scenario, asked = SCENARIOS[point.scenario], Asked()
    with laid(desk / "shop", scenario) as (shop, drops):
        if point.error:
            times = BURST if point.kind == "burst" else 1
            ended = zygote.failing_at(point.call, point.error, shop.root, times=times, **scenario.order)
            set_up = any(f"{shop.root.name}/{name}" in point.call.text for name in ("keyturn.toml", "rules"))
            lives = ended.code == QUIET or (set_up and ended.code == NOT_OPENED)
            asked.that(lives, f"{_how(ended)}: {_told(ended.log)}")
            reached = any("INJECTED" in text and str(shop.root) in text for text in ended.trace.splitlines())
            if ended.code == QUIET:
                promises.nothing_waits(shop, asked)
        else:
            ended = zygote.killed_at(point.call, shop.root, **scenario.order)
            reached = ended.killed
        promises.at_any_instant(shop, drops, asked)
        if point.second:
            zygote.killed_at(point.second, shop.root, **scenario.order)
            promises.at_any_instant(shop, drops, asked)
        out = promises.published(shop)
        again = zygote.run(shop.root, **scenario.order)
        asked.that(again.code == QUIET, f"the run after it: {_how(again)}: {_told(again.log)}")
        promises.after_recovery(shop, drops, asked)
        after = promises.published(shop)
        asked.that(all(after.get(n) == sha for n, sha in out.items()), "what was published has changed")
        _ledger_rebuilt(zygote, shop.root, promises.ledger(shop), asked)
        return reached, ended, asked


def _ledger_rebuilt(zygote: Zygote, root: Path, known: tuple[set[str], set[str]], asked: Asked) -> None:
    for path in (root / "state").glob("ledger*"):
        path.unlink()
    zygote.run(root)
    asked.that(promises.ledger(promises.Shop(root)) == known, "the ledger was not rebuilt as it was")


def _told(log: str) -> str:
    """What the service said of its trouble, the last of it."""
    told = [t for t in log.splitlines() if t.startswith(("WARNING", "ERROR"))] or log.strip().splitlines()
    return " | ".join(told[-4:])[-900:]


# -- all points -----------------------------------------------------------------------------------


def run(chosen: Iterable[Point], base: Path, jobs: int, tally: Tally) -> Tally:
    """Tries the points, `jobs` at a time, each with a zygote and a desk of its own.

    Desks lie as deep as the one the points were found on: looking up a path's real name takes a call a folder.
    """
    free: SimpleQueue[tuple[Zygote, Path]] = SimpleQueue()
    for number in range(jobs):
        desk = base / f"desk-{number}"
        desk.mkdir(exist_ok=True)
        free.put((Zygote(desk), desk))

    def one(point: Point) -> None:
        zygote, desk = free.get()
        try:
            tally.add(point, *tried(point, zygote, desk))
        finally:
            free.put((zygote, desk))

    with ThreadPoolExecutor(jobs) as pool:
        for done in pool.map(one, chosen):
            assert done is None
    while not free.empty():
        free.get()[0].__exit__()
    return tally


def fast_disk() -> str | None:
    """Memory where there is some: what is tried here are orders of calls, and a real disk's fsyncs take long."""
    memory = Path("/dev/shm")
    return str(memory) if memory.is_dir() and os.access(memory, os.W_OK) else None


def _asked_for() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--every", type=int, default=1, help="try each N-th point, and all renames")
    parser.add_argument("--only", choices=KINDS, action="append")
    parser.add_argument("--scenario", choices=list(SCENARIOS), action="append")
    parser.add_argument("--jobs", type=int, default=2)
    return parser.parse_args()


def main() -> int:
    asked = _asked_for()
    base = Path(tempfile.mkdtemp(prefix="keyturn-campaign-", dir=fast_disk()))
    worst = 0
    print("scenario       fault   points reached promises broken s/point  ended", flush=True)
    try:
        for scenario, kind in itertools.product(asked.scenario or SCENARIOS, asked.only or KINDS):
            tally = _part(scenario, kind, asked, base)
            worst = max(worst, bool(tally.broken))
    finally:
        shutil.rmtree(base, ignore_errors=True)
    return worst


def _part(scenario: str, kind: str, asked: argparse.Namespace, base: Path) -> Tally:
    desk = base / "first"
    desk.mkdir(exist_ok=True)
    try:
        with Zygote(desk) as zygote:
            chosen = list(points(scenario, kind, asked.every, zygote, desk))
    except OSError as error:
        print(f"{scenario:14} {kind:7} skipped: {error}", flush=True)
        return Tally()
    start = time.monotonic()
    tally = run(chosen, base, asked.jobs, Tally())
    cost = (time.monotonic() - start) * asked.jobs / max(1, tally.points)
    ends = ", ".join(f"{n} {how}" for how, n in tally.ended.most_common())
    row = f"{scenario:14} {kind:7} {tally.points:6} {tally.reached:7} {tally.asked:8} {len(tally.broken):6} {cost:7.2f}"
    print(f"{row}  {ends}", flush=True)
    for point, broken in tally.broken:
        print(f"  {point}\n    " + "\n    ".join(broken), flush=True)
    return tally


if __name__ == "__main__":
    sys.exit(main())
