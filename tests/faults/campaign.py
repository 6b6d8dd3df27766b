"""The fault campaign: ends or hampers the service at each system call that touches the shop, in turn.

    python tests/faults/campaign.py [--every 1] [--only kill|double|errno|burst] [--jobs 2] [--scenario drops]
    python tests/faults/campaign.py --results FILE [--part 3/20] ...     in pieces: what FILE knows is not tried again
    python tests/faults/campaign.py --sum FILE

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
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from faults import promises, results
from faults.promises import Asked
from faults.results import Result, Tally
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

    @property
    def key(self) -> str:
        """The same in every run: names of files hold random parts, the order of the calls does not."""
        after = f" then {_number(self.second)}" if self.second else ""
        return f"{self.scenario} {self.kind} {self.error or '-'} {_number(self.call)}{after}"

    def __str__(self) -> str:
        place = self.call.text[:160]
        after = f", then before {self.second.text[:120]}" if self.second else ""
        return f"{self.scenario} {self.kind} {self.error} {_number(self.call)}: {place}{after}"


def _how(ended: Ended) -> str:
    names = {QUIET: "went on", CRASHED: "crashed", NOT_OPENED: "did not start", NEVER_QUIET: "never quiet"}
    return "killed" if ended.killed else names.get(ended.code, f"code {ended.code}")


def _number(call: Call) -> str:
    return f"{call.name}#{call.number}"


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


def tried(point: Point, zygote: Zygote, desk: Path) -> Result:
    """Was the point reached, how did the service end there, and what of the promises."""
    scenario, asked, start = SCENARIOS[point.scenario], Asked(), time.monotonic()
    with laid(desk / "shop", scenario) as (shop, drops):
        if point.error:
            times = BURST if point.kind == "burst" else 1
            ended = zygote.failing_at(point.call, point.error, shop.root, times=times, **scenario.order)
            asked.that(ended.code == QUIET, f"{_how(ended)}: {_told(ended.log)}")
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
    seconds = round(time.monotonic() - start, 2)
    told = str(point)
    return Result(point.scenario, point.kind, point.key, told, reached, asked.count, _how(ended), asked.broken, seconds)


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
            tally.add(tried(point, zygote, desk))
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


def _share(text: str) -> tuple[int, int]:
    part, _, parts = text.partition("/")
    if not 1 <= int(part) <= int(parts):
        raise ValueError(text)
    return int(part), int(parts)


def _asked_for() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--every", type=int, default=1, help="try each N-th point, and all renames")
    parser.add_argument("--only", choices=KINDS, action="append")
    parser.add_argument("--scenario", choices=list(SCENARIOS), action="append")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--part", type=_share, default=(1, 1), metavar="N/M", help="try the N-th of M shares")
    parser.add_argument("--results", type=Path, metavar="FILE", help="write each result down; try only what is new")
    parser.add_argument("--sum", type=Path, metavar="FILE", help="try nothing: sum up a file of results")
    return parser.parse_args()


def main() -> int:
    asked = _asked_for()
    if asked.sum:
        known = results.read(asked.sum)
        print("\n".join(results.table(known)))
        return int(not known or any(result.broken for result in known))
    base = Path(tempfile.mkdtemp(prefix="keyturn-campaign-", dir=fast_disk()))
    worst = 0
    print(results.HEAD, flush=True)
    try:
        for scenario, kind in itertools.product(asked.scenario or SCENARIOS, asked.only or KINDS):
            worst = max(worst, _part(scenario, kind, asked, base))
    finally:
        shutil.rmtree(base, ignore_errors=True)
    return worst


def _part(scenario: str, kind: str, asked: argparse.Namespace, base: Path) -> int:
    """Tries one kind of fault in one scenario; 1 where a promise was broken."""
    desk = base / "first"
    desk.mkdir(exist_ok=True)
    try:
        with Zygote(desk) as zygote:
            chosen = list(points(scenario, kind, asked.every, zygote, desk))
    except OSError as error:
        print(f"{scenario:14} {kind:7} skipped: {error}", flush=True)
        return 0
    known = {result.key for result in results.read(asked.results)} if asked.results else set()
    part, parts = asked.part
    new = [point for point in chosen[part - 1 :: parts] if point.key not in known]
    if not new:
        return 0
    tally = run(new, base, asked.jobs, Tally(asked.results))
    print(tally.row(), flush=True)
    for result in tally.broken:
        print("\n    ".join([f"  {result.told}", *result.broken]), flush=True)
    return int(bool(tally.broken))


if __name__ == "__main__":
    sys.exit(main())
