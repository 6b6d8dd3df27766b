"""What six radios cost, beside the dearest of them alone: `python tests/benchmarks/radios.py`

    python tests/benchmarks/radios.py [--kinds samples photos] [--frames 24] [--rounds 3] [--art FOLDER]

`keyturn make` of one drop, for each radio of rules/radios by itself and then for all of them, each in a fresh process
that finds nothing kept. Nothing passes or fails: it prints a table (Markdown), medians of the rounds with the least and
the most.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import art
import grown
import measure
from measure import Cost

from keyturn.shop import rulebook

RADIOS = tuple(sorted(path.stem for path in (rulebook.SHIPPED / "radios").glob("*.toml")))
ALL = "all six"


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--kinds", nargs="+", choices=art.KINDS, default=["samples", "photographic", "photos"])
    said.add_argument("--frames", type=int, default=24)
    said.add_argument("--rounds", type=int, default=3)
    said.add_argument("--art", type=Path, help="where the pictures are drawn, to be used again")
    wanted = said.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-radios-") as folder:
        scratch = Path(folder)
        for kind in wanted.kinds:
            pictures = art.write(kind, (wanted.art or scratch) / kind, wanted.frames)
            rounds = [_round(scratch, pictures) for _ in range(wanted.rounds)]
            _print(kind, wanted.frames, rounds)


def _round(scratch: Path, pictures: list[Path]) -> dict[str, Cost]:
    return {name: _made(scratch, pictures, [name]) for name in RADIOS} | {ALL: _made(scratch, pictures, list(RADIOS))}


def _made(scratch: Path, pictures: list[Path], radios: list[str]) -> Cost:
    named = ", ".join(f'"{name}"' for name in radios)
    text = f'customer = "{grown.REGULAR}"\nradio = [{named}]\nfit = "cover"\n[motion]\nthin = true\n'
    drop, out, cache = grown.lay(scratch / "drop", pictures, text), scratch / "out", scratch / "cache"
    environment = {**measure.installed(scratch), "XDG_CACHE_HOME": str(cache)}
    cost, _ = measure.run([*grown.KEYTURN, "make", drop, "--out", out], environment, quiet=True)
    for each in (drop, out, cache):
        shutil.rmtree(each)
    return cost


def _print(kind: str, frames: int, rounds: list[dict[str, Cost]]) -> None:
    print(f"{frames} frames of {kind}, {len(rounds)} rounds\n")
    print("| radio | wall s | CPU s | MiB |\n|---|---:|---:|---:|")
    for name in (*RADIOS, ALL):
        costs = [one[name] for one in rounds]
        wall, cpu = (statistics.median(getattr(cost, what) for cost in costs) for what in ("wall", "cpu"))
        print(f"| {name} | {wall:.2f} | {cpu:.2f} | {max(cost.peak for cost in costs):.0f} |")
    for what, bar in (("wall", "; the bar is 2.2"), ("cpu", "")):
        dearest = [getattr(one[ALL], what) / max(getattr(one[name], what) for name in RADIOS) for one in rounds]
        each = [getattr(one[ALL], what) / sum(getattr(one[name], what) for name in RADIOS) for one in rounds]
        print(
            f"\nAll six by {what}: {_spread(dearest)} times the dearest alone{bar}; {_spread(each)} of all apart.",
            end="",
        )
    print("\n", flush=True)


def _spread(ratios: list[float]) -> str:
    return f"{statistics.median(ratios):.2f} ({min(ratios):.2f}-{max(ratios):.2f})"


if __name__ == "__main__":
    main()
