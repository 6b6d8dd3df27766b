"""What a fleet costs beside as many drops: `python tests/benchmarks/fleet.py`

    python tests/benchmarks/fleet.py [--rows 200] [--radio wide-1024x600]

One drop with a table of 200 rows, from one glide of 60 frames of which the words change in 20, goes through a real
service with two workers; then 200 drops, one for each row, through another one. The drops are made once as they were
before finished frames were kept (`frames_gib = 0`) and once with that. Each service begins with nothing kept. The bar
is 0.4 of the drops' wall clock without.

Then a table of 1,000 rows with 30 faults of six kinds is looked through: the bar is 2 s until all are told. Nothing
passes or fails: it prints tables (Markdown).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import measure
from PIL import Image

from keyturn import pipeline
from keyturn.pipeline import Bench, fleet
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind, Refused, only
from keyturn.workers.crew import InlineCrew

SAMPLE = Path(__file__).parents[2] / "sample_inbox" / "six-vans"
SETTINGS = "workers = 2\nscan_seconds = 0.2\n[settle]\nseconds = 0.05\nclosed_seconds = 0.05\ndoubt_seconds = []\n"
SERVE = "import sys; from pathlib import Path; from keyturn.service.loop import Service; from keyturn.shop.folders "
SERVE += "import Shop; Service(Shop(Path(sys.argv[1]))).run(until_quiet=True)"
FRAMES, WORDS = 60, 20
FAULTY_ROWS, FAULTS = 1000, 30


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--rows", type=int, default=200)
    said.add_argument("--radio", default="wide-1024x600")
    wanted = said.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-fleet-") as folder:
        _table(Path(folder), wanted.rows, wanted.radio)
        _faults(Path(folder) / "faulty")


# -- one drop, or a drop for each row -----------------------------------------------------------------


def _table(folder: Path, rows: int, radio: str) -> None:
    drops, kept, one = (_cost(folder / name, rows, radio, name) for name in ("drops", "drops-kept", "fleet"))
    print(f"| {rows} rows, {FRAMES} frames each, {WORDS} with words of their own | s | CPU s | share of the drops |")
    print("|---|---|---|---|")
    for name, cost in (("drops", drops), ("drops, frames kept", kept), ("a fleet", one)):
        share = f"{cost.wall / drops.wall:.2f} (CPU {cost.cpu / drops.cpu:.2f})"
        print(f"| {name} | {cost.wall:.1f} | {cost.cpu:.1f} | {share} |", flush=True)
    print()


def _cost(root: Path, rows: int, radio: str, name: str) -> measure.Cost:
    shop = Shop(root)
    shop.create()
    keep = "[keep]\nframes_gib = 0\n" if name == "drops" else ""
    (root / "keyturn.toml").write_text(SETTINGS + keep, encoding="utf-8")
    if name == "fleet":
        lay(shop.inbox / "vans", rows, radio)
    else:
        for row in range(rows):
            lay(shop.inbox / f"van-{row}", 1, radio, first=row)
    cost, _ = measure.run([sys.executable, "-c", SERVE, root], quiet=True)
    made = len(list(root.glob("outbox/[!.]*/*/job.json")))
    assert made == rows, f"{made} of {rows} were made"
    return cost


def lay(drop: Path, rows: int, radio: str, first: int = 0) -> None:
    """A drop with a row for each job, as the sample inbox's, but of 40 and 20 frames."""
    drop.mkdir(parents=True)
    for name in ("meadow.png", "van.png"):
        (drop / name).write_bytes((SAMPLE / name).read_bytes())
    text = (SAMPLE / "job.toml").read_text(encoding="utf-8")
    for before, after in (("frames = 30", f"frames = {FRAMES - WORDS}"), ("frames = 16", f"frames = {WORDS}")):
        assert before in text
        text = text.replace(before, after)
    (drop / "job.toml").write_text(text, encoding="utf-8")
    table = "".join(f"Van {n};{radio};Good morning, Ines {n}\n" for n in range(first, first + rows))
    (drop / "fleet.csv").write_text(f"vehicle;radio;greeting\n{table}", encoding="utf-8")


# -- many faults --------------------------------------------------------------------------------------

MANIFEST = """each = "fleet.csv"
customer = "Fern Hollow Mobile Library"
background = "{ground}"
[[part]]
art = "{picture}.png"
[[part]]
[part.glide]
frames = 20
path = [[0.5, 0.5]]
text = "{words}"
"""
RIGHT = {"job": "van", "radio": "wide-1024x600", "ground": "#102030", "picture": "scene", "words": "Hello"}
WRONG = (
    {"radio": "wide-1024x6000"},
    {"ground": "grreen"},
    {"picture": "no-such-scene"},
    {"words": ""},
    {"job": "x" * 300},
    {"radio": ""},
)


def _faults(drop: Path) -> None:
    drop.mkdir()
    Image.new("RGB", (1024, 600), "#345").save(drop / "scene.png")
    (drop / "job.toml").write_text(MANIFEST, encoding="utf-8")
    rows = []
    for n in range(FAULTY_ROWS):
        wrong = WRONG[n // 33 % len(WRONG)] if n % 33 == 5 and n // 33 < FAULTS else {}
        cells = RIGHT | {"job": f"van-{n}", "words": f"Hello {n}"} | wrong
        rows.append(";".join(cells.values()))
    (drop / "fleet.csv").write_text("\n".join([";".join(RIGHT), *rows]) + "\n", encoding="utf-8")
    bench = Bench(rulebook.load(), InlineCrew(), lambda: datetime.now(UTC)).for_one_drop()
    began, cpu = time.perf_counter(), time.process_time()
    with tempfile.TemporaryDirectory() as scratch:
        try:
            fleet.ordered(pipeline.opened(drop, Path(scratch), bench.rules), "vans", Path(scratch), bench)
        except Refused as refused:
            told = {reason.field for reason in only(refused.reasons, Kind.REFUSE)}
            spent = f"{time.perf_counter() - began:.2f} s, {time.process_time() - cpu:.2f} s of CPU"
            print(f"{FAULTY_ROWS:,} rows with {FAULTS} faults: {len(told)} cells told in {spent}")


if __name__ == "__main__":
    main()
