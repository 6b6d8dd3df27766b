"""The fault campaign: ends or hampers the service at each system call that touches the shop, in turn.

    python tests/faults/campaign.py [--every 1] [--only kill|double|errno|...] [--jobs 2] [--scenario drops]
    python tests/faults/campaign.py --results FILE [--part 3/20] ...     in pieces: what FILE knows is not tried again
    python tests/faults/campaign.py --lines ...     each line of the code once: some 40,000 points of 600,000
    python tests/faults/campaign.py --sum FILE

For each point a fresh shop is laid, the service is run with one fault at that point, the folders are looked at
as the fault left them, the service is run again until it is quiet, and every promise is asked for. What makes that
cheap, and how the cheap way is checked: see `trying`.
"""

from __future__ import annotations

import argparse
import itertools
import multiprocessing
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TypeVar

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from faults import points, results, trying
from faults.points import FirstAtEachLine, Point
from faults.results import Tally
from faults.scenarios import SCENARIOS

AT_A_TIME = 25
FIRSTS = 8
"""With `--lines`: so many first kills of each scenario are followed by second ones."""

Answer = TypeVar("Answer")


class Campaign:
    """`jobs` processes that try points. Use `open`."""

    def __init__(self, pool: ProcessPoolExecutor) -> None:
        self._pool = pool

    def points(
        self, scenario: str, kind: str, every: int, *, firsts: int | None = None, lines: bool = False
    ) -> list[Point]:
        """Raises OSError where mounting is not allowed and the scenario needs it."""
        return self.submit(trying.all_points, scenario, kind, every, firsts, lines)

    def submit(self, work: Callable[..., Answer], *given: object) -> Answer:
        return self._pool.submit(work, *given).result()

    def run(self, chosen: list[Point], tally: Tally, *, sure: bool = False) -> Tally:
        """Tries the points, those that share a run one after the other. `sure`: also the dear way, each of them."""
        for done in self._pool.map(partial(trying.try_all, sure=sure), _batches(chosen)):
            for result in done:
                tally.add(result)
        return tally


@contextmanager
def opened(base: Path, jobs: int) -> Iterator[Campaign]:
    """`base` is a folder for everything. The order in which sets are walked is the same in all processes."""
    os.environ["PYTHONHASHSEED"], before = "0", os.environ.get("PYTHONHASHSEED")
    hidden = {k: os.environ.pop(k) for k in list(os.environ) if k.startswith(("KEYTURN_", "COV_"))}
    spawn = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(jobs, spawn, trying.begin, (base, datetime.now(UTC)))
    try:
        yield Campaign(pool)
    finally:
        pool.shutdown(cancel_futures=True)
        os.environ.update(hidden)
        os.environ.pop("PYTHONHASHSEED")
        if before is not None:
            os.environ["PYTHONHASHSEED"] = before


def _batches(chosen: Iterable[Point]) -> Iterator[list[Point]]:
    """The second calls of one double kill share its recovery run, so they stay together."""
    for _, group in itertools.groupby(chosen, lambda point: point.second and (point.scenario, point.call.at)):
        same = list(group)
        yield from (same[first : first + AT_A_TIME] for first in range(0, len(same), AT_A_TIME))


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
    parser.add_argument("--lines", action="store_true", help="try only the first point at each line of the code")
    parser.add_argument("--only", choices=list(points.KINDS), action="append")
    parser.add_argument("--scenario", choices=list(SCENARIOS), action="append")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--part", type=_share, default=(1, 1), metavar="N/M", help="try the N-th of M shares")
    parser.add_argument("--results", type=Path, metavar="FILE", help="write each result down; try only what is new")
    parser.add_argument("--sum", type=Path, metavar="FILE", help="try nothing: sum up a file of results")
    parser.add_argument("--count", action="store_true", help="try nothing: say how many points there are")
    return parser.parse_args()


def main() -> int:
    asked = _asked_for()
    if asked.sum:
        known = results.read(asked.sum)
        print("\n".join(results.table(known)))
        return int(not known or any(result.broken for result in known))
    base = Path(tempfile.mkdtemp(prefix="keyturn-campaign-", dir=fast_disk()))
    worst, first = 0, FirstAtEachLine()
    try:
        with opened(base, asked.jobs) as campaign:
            print(results.HEAD, flush=True)
            for scenario, kind in itertools.product(asked.scenario or SCENARIOS, asked.only or points.KINDS):
                worst = max(worst, _part(scenario, kind, asked, campaign, first))
    finally:
        shutil.rmtree(base, ignore_errors=True)
    return worst


def _part(scenario: str, kind: str, asked: argparse.Namespace, campaign: Campaign, first: FirstAtEachLine) -> int:
    """Tries one kind of fault in one scenario; 1 where a promise was broken."""
    try:
        chosen = campaign.points(scenario, kind, asked.every, firsts=FIRSTS if asked.lines else None, lines=asked.lines)
    except OSError as error:
        print(f"{scenario:14} {kind:10} skipped: {error}", flush=True)
        return 0
    if asked.lines:
        chosen = first.of(chosen)
    if asked.count:
        print(f"{scenario:14} {kind:10} {len(chosen):6}", flush=True)
        return 0
    known = {result.key for result in results.read(asked.results)} if asked.results else set()
    part, parts = asked.part
    new = [point for point in chosen[part - 1 :: parts] if point.key not in known]
    if not new:
        return 0
    tally = campaign.run(new, Tally(asked.results))
    print(tally.row(), flush=True)
    for result in tally.broken:
        print("\n    ".join([f"  {result.told}", *result.broken]), flush=True)
    return int(bool(tally.broken))


if __name__ == "__main__":
    sys.exit(main())
