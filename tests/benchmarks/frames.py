"""Frames a second and bytes a frame, beside other programs doing the same: `python tests/benchmarks/frames.py`.

Every contender runs in every round, one after another, in an order that turns; ratios are taken within a
round, so that what else the machine does weighs on both sides. Start-up is included (cold), but for keyturn-warm,
as in a busy shop, whose workers stay, for service, and for the floor. `make` is the whole command a person runs, and
`service` a whole job from its claim to its revision. What is slow and only there for its sizes runs in the
first round alone. Nothing here passes or fails: it prints tables (Markdown).
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import art
import benchmark_radio
import measure
from contenders import CONTENDERS
from measure import Cost

from keyturn.shop import rulebook

NEEDS = {"mogrify": "mogrify", "mogrify-tuned": "mogrify", "ffmpeg": "ffmpeg"}
PYTHON = {"vips": "pyvips", "vips-tuned": "pyvips"}
COUNTS = {"photographic": 48, "samples": 45, "flat": 48, "sprites": 48, "photos": 24, "clip": 40}
ONCE = ("pillow", "keyturn-plain")
BESIDE = ("make", "service", "keyturn", "keyturn-warm", "floor")
"""What the others' costs are told in multiples of."""

RADIO_SIDE = ("keyturn", "pillow", "mogrify", "mogrify-tuned", "vips-tuned")

Runs = dict[str, list[Cost]]


def main() -> None:
    asked = _arguments()
    print(f"# {datetime.now(UTC):%Y-%m-%d}, {_machine()}\n")
    names = list(_present(asked.contenders))
    with tempfile.TemporaryDirectory(prefix="keyturn-bench-") as scratch:
        for kind in asked.kinds:
            folder = (asked.art or Path(scratch) / "art") / kind
            count = asked.frames or COUNTS[kind]
            art.write(kind, folder, count)
            runs, zips = _rounds(names, kind, folder, count, asked.rounds, Path(scratch))
            _print_costs(kind, count, runs, zips)
            _print_radio(zips)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", nargs="+", choices=art.KINDS, default=list(art.KINDS))
    parser.add_argument("--contenders", nargs="+", choices=list(CONTENDERS), default=list(CONTENDERS))
    parser.add_argument("--frames", type=int, help=f"of each kind; default {COUNTS}")
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--art", type=Path, help="keep the drawn input here, and use what is there")
    return parser.parse_args()


def _machine() -> str:
    model = next(
        (
            line.split(":")[1].strip()
            for line in Path("/proc/cpuinfo").read_text().splitlines()
            if line.startswith("model name")
        ),
        platform.machine(),
    )
    load = os.getloadavg()[0]
    return f"{model}, {os.cpu_count()} cores, Python {platform.python_version()}, load before the start {load:.1f}"


def _present(names: list[str]) -> Iterator[str]:
    for name in names:
        program = NEEDS.get(name)
        if program and not shutil.which(program):
            print(f"{name} is left out: {program} is not installed (from the operating system's packages)\n")
        elif name in PYTHON and subprocess.run([sys.executable, "-c", f"import {PYTHON[name]}"]).returncode:
            print(f"{name} is left out: {PYTHON[name]} is not installed\n")
        else:
            yield name


def _rounds(
    names: list[str], kind: str, folder: Path, count: int, rounds: int, scratch: Path
) -> tuple[Runs, dict[str, Path]]:
    runs: Runs = {name: [] for name in names}
    script, environment = str(Path(__file__).with_name("contenders.py")), measure.installed(scratch)
    measure.run([sys.executable, script, "keyturn", kind, folder, scratch / "first.zip", "1"], environment)  # compiles
    zips = {name: scratch / f"{kind}-{name}.zip" for name in names}
    for turn in range(rounds):
        for name in names[turn % len(names) :] + names[: turn % len(names)]:
            if turn and name in ONCE:
                continue
            command = [sys.executable, script, name, kind, folder, zips[name], str(count)]
            cost, printed = measure.run(command, environment)
            if printed:
                wall, cpu = json.loads(printed)
                cost = replace(cost, wall=wall, cpu=cpu)
            runs[name].append(cost)
    return runs, zips


def _print_costs(kind: str, count: int, runs: Runs, zips: dict[str, Path]) -> None:
    print(f"## {kind}, {count} frames, {len(next(iter(runs.values())))} rounds, load {os.getloadavg()[0]:.1f}\n")
    beside = [name for name in BESIDE if name in runs]
    heads = ["", "wall ms a frame", "CPU ms a frame", "PSS MiB", "KB a frame", "of Pillow level 6", "dB from Pillow"]
    heads += [f"{what}, times {name} (least-most)" for name in beside for what in ("wall", "CPU")]
    print(f"| {' | '.join(heads)} |\n|---|" + "---:|" * (len(heads) - 1))
    sizes = {name: path.stat().st_size / count / 1000 for name, path in zips.items()}
    for name, costs in runs.items():
        wall, cpu = (statistics.median(getattr(c, what) for c in costs) / count * 1000 for what in ("wall", "cpu"))
        cells = [name, f"{wall:.0f}", f"{cpu:.0f}", f"{max(c.peak for c in costs):.0f}", f"{sizes[name]:,.0f}"]
        cells.append(f"{sizes[name] / sizes['pillow']:.2f}" if "pillow" in sizes else "")
        cells.append(f"{benchmark_radio.decibels(zips[name], zips['pillow']):.0f}" if "pillow" in zips else "")
        cells += [_ratio(costs, runs[other], what) for other in beside for what in ("wall", "cpu")]
        print(f"| {' | '.join(cells)} |")
    print(flush=True)


def _ratio(costs: list[Cost], others: list[Cost], what: str) -> str:
    """Round by round; what ran once is set beside the first."""
    ratios = [getattr(mine, what) / getattr(theirs, what) for mine, theirs in zip(costs, others, strict=False)]
    spread = f" ({min(ratios):.1f}-{max(ratios):.1f})" if len(ratios) > 1 else ""
    return f"{statistics.median(ratios):.1f}{spread}"


def _print_radio(zips: dict[str, Path]) -> None:
    rules = rulebook.load().radios["tall-768x1024"]
    print(f"On the radio ({benchmark_radio.DECODERS}):\n")
    print("| | KB a frame | decode ms a frame | textures MiB |\n|---|---|---|---|")
    for name in RADIO_SIDE:
        if name in zips:
            found = benchmark_radio.load(zips[name], rules)
            print(f"| {name} | {found.kb:,.0f} | {found.decode_ms:.1f} | {found.texture_mib:.0f} |")
    print(flush=True)


if __name__ == "__main__":
    main()
