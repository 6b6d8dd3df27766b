"""Where a job's time goes: `keyturn make` on a drop of 48 frames, stage by stage: `python tests/benchmarks/job.py`.

    python tests/benchmarks/job.py [--kinds flat photographic] [--frames 48] [--rounds 3]
    python tests/benchmarks/job.py --drops sample_inbox/lamp-by-lamp sample_inbox/ferry-glide

Each round is a program of its own, start-up included, with a clock on every stage; the table has medians. By hand
nothing has to lie still first: in the shop the settle time of keyturn.toml comes on top. Nothing is kept from an
earlier round. Of the judging, what an eye would see of each frame is worked out in the workers: that is measured
beside, a frame after another. Most of the flash check goes on while workers make frames and the sheet's pictures: its
time is in these stages, and told beneath the table.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import art
import measure

MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\nfit = "cover"\n[motion]\nthin = true\n'
JUDGES = ("flash", "hand-off", "memory, pace, sizes")
CELLS_TIMES = 40


def main() -> None:
    if sys.argv[1:2] == ["--timed"]:
        timed(Path(sys.argv[2]), Path(sys.argv[3]), float(sys.argv[4]))
        return
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--kinds", nargs="+", choices=art.KINDS, default=["flat", "photographic"])
    said.add_argument("--frames", type=int, default=48)
    said.add_argument("--rounds", type=int, default=3)
    said.add_argument("--drops", nargs="+", type=Path, help="drops to make instead of drawn frames")
    wanted = said.parse_args()
    with tempfile.TemporaryDirectory(prefix="keyturn-bench-") as scratch:
        if wanted.drops:
            told_of_drops(wanted.drops, wanted.rounds, Path(scratch))
            return
        for kind in wanted.kinds:
            drop = Path(scratch) / kind
            art.write(kind, drop / "art", wanted.frames)
            (drop / "job.toml").write_text(MANIFEST, encoding="utf-8")
            told(kind, wanted.frames, rounds(drop, wanted.rounds, Path(scratch)), cells_s(drop))


def rounds(drop: Path, count: int, scratch: Path) -> list[dict[str, Any]]:
    """Stages' seconds of each round, and under "cpu" what the whole took of the processors. The first is not counted:
    in it Python compiles."""
    found = []
    environment = {**measure.installed(scratch), "OPENBLAS_NUM_THREADS": "1"}  # as keyturn sets it, before numpy comes
    for _ in range(count + 1):
        with tempfile.TemporaryDirectory(dir=scratch) as out:
            command = [sys.executable, __file__, "--timed", str(drop), out, str(time.monotonic())]
            cost, printed = measure.run(command, {**environment, "XDG_CACHE_HOME": f"{out}/kept"})
        stages = json.loads(printed)
        stages["wall"]["the end"] = cost.wall - sum(stages["wall"].values())
        found.append({**stages, "cpu": cost.cpu, "peak": cost.peak})
    return found[1:]


# -- one round ----------------------------------------------------------------------------------------------


class Stages:
    """Seconds of the wall clock and of this process's processor time, by stage; a stage within a stage counts once."""

    def __init__(self, start: float) -> None:
        self.wall: dict[str, float] = {}
        self.own: dict[str, float] = {}
        self.beside_s = [0.0, 0.0]  # of the wall clock, of this process's processor time
        self._at, self._used = start, 0.0

    def passed(self, stage: str) -> None:
        """What has passed since the last call was `stage`."""
        at, used = time.monotonic(), time.process_time()
        self.wall[stage] = self.wall.get(stage, 0.0) + at - self._at
        self.own[stage] = self.own.get(stage, 0.0) + used - self._used
        self._at, self._used = at, used

    def on(self, owner: Any, name: str, stage: str, before: str) -> None:
        """From now on `owner.name` counts as `stage`, and what passed before it as `before`."""
        real: Callable[..., Any] = getattr(owner, name)

        def clocked(*args: Any, **options: Any) -> Any:
            self.passed(before)
            try:
                return real(*args, **options)
            finally:
                self.passed(stage)

        setattr(owner, name, clocked)

    def beside(self, owner: Any, name: str) -> None:
        """From now on `owner.name` counts as work beside the stages, which go on meanwhile."""
        real: Callable[..., Any] = getattr(owner, name)

        def clocked(*args: Any, **options: Any) -> Any:
            at, used = time.monotonic(), time.process_time()
            try:
                return real(*args, **options)
            finally:
                self.beside_s[0] += time.monotonic() - at
                self.beside_s[1] += time.process_time() - used

        setattr(owner, name, clocked)


def timed(drop: Path, out: Path, start: float) -> None:
    stages = Stages(start)
    from keyturn import pipeline
    from keyturn.commands import make, make_by_hand
    from keyturn.commands.quick_end import end
    from keyturn.judge import crop_check
    from keyturn.outbox import sheets
    from keyturn.package import animation, flash_watch, radio_output
    from keyturn.shop import durable_files

    for owner, name, stage in (
        (pipeline, "understand", "reading the drop"),
        (crop_check, "with_crop_notes", "looking for what is cropped away"),
        (radio_output, "_fitted", "logo and files that suit the radio"),
        (animation, "write", "zip"),
        (radio_output, "flash_result", JUDGES[0]),
        (radio_output, "_handoff", JUDGES[1]),
        (radio_output, "timeline_record", JUDGES[2]),
        (radio_output, "_reasons", JUDGES[2]),
        (radio_output, "write_stick", "stick folder"),
        (pipeline, "_write_papers", "card and records"),
        (durable_files, "fsync_tree", "to disk"),
        (sheets, "write_sheet", "sheet"),
    ):
        stages.on(owner, name, stage, before="frames" if name == "_fitted" else "between the stages")
    stages.beside(flash_watch.FlashWatch, "go_on")
    stages.passed("start-up: imports")
    with make.bench_of(None, quiet=True) as bench:
        stages.passed("start-up: rules, workers")
        result = make_by_hand.make(drop, out, bench)
    stages.passed("workers' end")
    assert result.folder
    frames = sum(part.frames for radio in result.made.record.radios for part in radio.parts)
    print(json.dumps({"wall": stages.wall, "own": stages.own, "frames": frames, "beside": stages.beside_s}))
    end(0)  # as the program itself


def cells_s(drop: Path) -> float:
    """Processor seconds a frame for what the flash check needs to know of it."""
    import numpy as np
    from PIL import Image

    from keyturn.eye.luminance import cells
    from keyturn.eye.screen import Screen
    from keyturn.shop import rulebook

    rules = rulebook.load()
    panel = rules.radios["tall-768x1024"].panel
    picture = Image.open(next((drop / "art").iterdir())).convert("RGB").resize(panel.size)
    pixels, cell_px = np.asarray(picture), Screen.of(panel, rules.safety.flash).cell_px
    cells(pixels, cell_px)
    start = time.process_time()
    for _ in range(CELLS_TIMES):
        cells(pixels, cell_px)
    return (time.process_time() - start) / CELLS_TIMES


# -- told ---------------------------------------------------------------------------------------------------


def told(kind: str, frames: int, runs: list[dict[str, Any]], cells: float) -> None:
    print(f"## keyturn make, {frames} frames of {kind}, {len(runs)} rounds, load {os.getloadavg()[0]:.1f}\n")
    print("| stage | wall ms | own CPU ms | share of the wall clock |\n|---|---:|---:|---:|")
    whole = statistics.median(sum(run["wall"].values()) for run in runs)
    for stage in runs[0]["wall"]:
        wall, own = (statistics.median(run[what].get(stage, 0.0) for run in runs) for what in ("wall", "own"))
        print(f"| {stage} | {1000 * wall:.0f} | {1000 * own:.0f} | {wall / whole:.1%} |")
    print(f"| all | {1000 * whole:.0f} | | |\n")
    print(f"All processes: {_median(runs, 'cpu'):.2f} s of the processors, {_median(runs, 'peak'):.0f} MiB (PSS).")
    wall, processors = (_share(runs, what, cells) for what in ("wall", "own"))
    beside, used = (1000 * statistics.median(run["beside"][which] for run in runs) for which in (0, 1))
    print(f"The flash check beside the stages: {beside:.0f} ms of the wall clock, {used:.0f} ms of own CPU.")
    print(f"Judging: {wall:.1%} of the wall clock; {processors:.1%} of the processors' time, of which the workers need")
    print(f"{1000 * cells:.1f} ms a frame.\n", flush=True)


def told_of_drops(drops: list[Path], count: int, scratch: Path) -> None:
    """Print how much of each drop's time goes into judging."""
    print(f"{count} rounds, load {os.getloadavg()[0]:.1f}\n")
    print("| drop | wall ms | judging after the frames | own CPU ms | beside the frames, own CPU ms | all CPU ms |")
    print("|---|---:|---:|---:|---:|---:|")
    for drop in drops:
        runs = rounds(drop, count, scratch)
        walls = [sum(run["wall"].values()) for run in runs]
        judged = {
            what: [sum(run[what].get(stage, 0.0) for stage in JUDGES) for run in runs] for what in ("wall", "own")
        }
        share = statistics.median(one / whole for one, whole in zip(judged["wall"], walls, strict=True))
        beside = statistics.median(run["beside"][1] for run in runs)
        own, every = statistics.median(judged["own"]), _median(runs, "cpu")
        print(f"| {drop.name} | {1000 * statistics.median(walls):.0f} | {share:.1%} | {1000 * own:.0f} ", end="")
        print(f"| {1000 * beside:.0f} | {1000 * every:.0f} |", flush=True)


def _median(runs: list[dict[str, Any]], what: str) -> float:
    return statistics.median(run[what] for run in runs)


def _share(runs: list[dict[str, Any]], what: str, cells: float) -> float:
    """Of judging. On the wall clock it stands alone; of the processors' time the workers' share counts too."""

    def of(run: dict[str, Any]) -> float:
        judged: float = sum(run[what].get(stage, 0.0) for stage in JUDGES)
        if what == "wall":
            return judged / float(sum(run["wall"].values()))
        return (judged + run["beside"][1] + run["frames"] * cells) / float(run["cpu"])

    return statistics.median(map(of, runs))


if __name__ == "__main__":
    main()
