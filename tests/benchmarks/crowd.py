"""Many drops at once, made one after another and side by side: `python tests/benchmarks/crowd.py`

A real service, with workers on all cores and no frames kept, makes 40 drops of six frames, each of another job, that
lie in the inbox when it starts: once with `drops_at_once = 1` and once with each number that is asked for. Then a drop
of 24 frames is moved in alone, and beside a drop of 2,000 that is being made. Nothing passes or fails: it prints tables
(Markdown); the shares are of one run on one machine.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import grown
import measure
from grown import until

from keyturn.shop.folders import Shop

SETTINGS = (
    "scan_seconds = 0.2\ndrops_at_once = {}\n[settle]\nseconds = 0.05\nclosed_seconds = 0.05\ndoubt_seconds = []\n"
)
SETTINGS += "[keep]\nframes_gib = 0\n"
SERVE = "import sys; from pathlib import Path; from keyturn.service.loop import Service; from keyturn.shop.folders "
SERVE += "import Shop; Service(Shop(Path(sys.argv[1]))).run(until_quiet=True)"
CUSTOMERS = ("Fern Hollow Mobile Library", "Quarry Bakery", "Lantern & Row", "Ferry House")


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--drops", type=int, default=40)
    said.add_argument("--frames", type=int, default=6, help="of each of the many drops")
    said.add_argument("--at-once", nargs="+", type=int, default=[2, 3, 4])
    said.add_argument("--large", type=int, default=2000, help="frames of the large drop")
    said.add_argument("--beside", type=int, default=24, help="frames of the drop beside it")
    wanted = said.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-crowd-") as folder:
        _many(Path(folder) / "many", wanted)
        _beside(Path(folder) / "beside", wanted)


def _shop(folder: Path, at_once: int) -> Shop:
    shop = grown.opened(folder)
    (shop.root / "keyturn.toml").write_text(SETTINGS.format(at_once))
    return shop


def _many(folder: Path, wanted: argparse.Namespace) -> None:
    art = [grown.drawn(folder / f"art-{number}", wanted.frames) for number in range(2)]
    print(f"| {wanted.drops} drops of {wanted.frames} frames, made at once | s | CPU s | times as fast |")
    print("|---|---:|---:|---:|")
    first = 0.0
    for at_once in (1, *wanted.at_once):
        shop = _shop(folder / f"shop-{at_once}", at_once)
        for number in range(wanted.drops):
            text = grown.manifest(CUSTOMERS[number % len(CUSTOMERS)])
            grown.lay(shop.root / "laying", art[number % 2], text).rename(shop.inbox / f"van-{number:02d}")
        cost, _ = measure.run([sys.executable, "-c", SERVE, shop.root], quiet=True)
        made = len(list(shop.outbox.glob("*/*-r1")))
        assert made == wanted.drops, f"{made} of {wanted.drops} drops were made"
        first = first or cost.wall
        print(f"| {at_once} | {cost.wall:.1f} | {cost.cpu:.1f} | {first / cost.wall:.2f} |", flush=True)


def _beside(folder: Path, wanted: argparse.Namespace) -> None:
    small, large = grown.drawn(folder / "small", wanted.beside), grown.bars(folder / "large", wanted.large)
    shop = _shop(folder / "shop", 2)
    with grown.service(shop):
        _published_s(shop, small, "first")  # it starts the workers
        alone = sorted(_published_s(shop, small, f"alone-{number}") for number in range(3))[1]
        grown.lay(shop.root / "laying", large, grown.manifest("Quarry Bakery")).rename(shop.inbox / "large")
        until(lambda: not (shop.inbox / "large").exists())
        time.sleep(2)  # so that its frames are being made
        beside = sorted(_published_s(shop, small, f"beside-{number}") for number in range(3))[1]
        done = bool(list(shop.outbox.glob("quarry-bakery/large-r1")))
    print(f"\nA drop of {wanted.beside} frames, s from its rename to the outbox (middle of three): {alone:.2f} alone,")
    print(f"{beside:.2f} beside one of {wanted.large:,} frames: {beside / alone:.2f} times.", end="")
    print(" The large one was done meanwhile: send a larger one." if done else "", flush=True)


def _published_s(shop: Shop, pictures: list[Path], name: str) -> float:
    grown.lay(shop.root / "laying", pictures, grown.manifest()).rename(shop.inbox / name)
    start = time.monotonic()
    until((shop.outbox / grown.REGULAR_FOLDER / f"{name}-r1").exists, 0.01)
    return time.monotonic() - start


if __name__ == "__main__":
    main()
