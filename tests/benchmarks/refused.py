"""How long does an artist wait to hear that an animation is too large? `python tests/benchmarks/refused.py`

    python tests/benchmarks/refused.py [--kinds samples photographic] [--frames 96] [--rounds 3] [--art FOLDER]
                                       [--beside CHECKOUT]

Each row is `keyturn check` on a drop of grained pictures for 768 x 1024, which takes 60 MiB: a fresh process that finds
nothing kept, from its start to its end. With `--beside` another checkout of Keyturn does the same in each round, and
ratios are taken within a round. Nothing passes or fails: it prints a table (Markdown) of medians.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import sys
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import art
import grown
import measure

HERE = Path(__file__).parents[2]
_TOLD = re.compile(r"the animation (?:would be|is) .*?(?=;)")


@dataclass(frozen=True, slots=True)
class _Round:
    cost: measure.Cost
    told: str


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--kinds", nargs="+", choices=tuple(art.STILLS), default=["samples", "photographic"])
    said.add_argument("--frames", type=int, default=96)
    said.add_argument("--rounds", type=int, default=3)
    said.add_argument("--art", type=Path, help="where the pictures are drawn, to be used again")
    said.add_argument("--beside", type=Path, help="another checkout")
    wanted = said.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    print("| drop | | wall s | CPU s | PSS MiB | of the other's wall | told |\n|---|---|---:|---:|---:|---:|---|")
    with tempfile.TemporaryDirectory(prefix="keyturn-refused-") as folder:
        for kind in wanted.kinds:
            pictures = art.write(kind, (wanted.art or Path(folder)) / kind, wanted.frames)
            drop = grown.lay(Path(folder) / kind, pictures, grown.manifest())
            one = grown.lay(Path(folder) / f"one-{kind}", pictures[:1], grown.manifest())
            for checkout in (HERE, wanted.beside):
                _ = checkout and _checked(one, checkout)  # compiles
            _print(f"{wanted.frames} {kind}", drop, wanted.beside, wanted.rounds)


def _print(name: str, drop: Path, beside: Path | None, rounds: int) -> None:
    checkouts = {"here": HERE} | ({"beside": beside} if beside else {})
    runs: dict[str, list[_Round]] = {which: [] for which in checkouts}
    for turn in range(rounds):
        for which in list(checkouts)[:: -1 if turn % 2 else 1]:
            runs[which].append(_checked(drop, checkouts[which]))
    for which, mine in runs.items():
        wall, cpu, peak = (statistics.median(getattr(r.cost, what) for r in mine) for what in ("wall", "cpu", "peak"))
        other = runs["here" if which == "beside" else "beside"] if beside else []
        ratios = [r.cost.wall / o.cost.wall for r, o in zip(mine, other, strict=True)] if other else []
        spread = f"{statistics.median(ratios):.2f} ({min(ratios):.2f}-{max(ratios):.2f})" if ratios else ""
        print(f"| {name} | {which} | {wall:.1f} | {cpu:.1f} | {peak:.0f} | {spread} | {mine[0].told} |", flush=True)


def _checked(drop: Path, checkout: Path) -> _Round:
    with tempfile.TemporaryDirectory(prefix="keyturn-refused-") as folder:
        environment = {**measure.installed(drop.parent), "PYTHONPATH": str(checkout / "daemon")}
        environment["XDG_CACHE_HOME"] = folder
        command = ["sh", "-c", '"$@" 2>&1; test $? -le 1', "sh", sys.executable, "-m", "keyturn", "check", drop]
        cost, printed = measure.run(command, environment)
    found = _TOLD.search(" ".join(printed.split()))
    return _Round(cost, found.group() if found else "no word of the size")


if __name__ == "__main__":
    main()
