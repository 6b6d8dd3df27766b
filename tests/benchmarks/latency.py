"""From the last byte copied to a published revision, stage by stage: `python tests/benchmarks/latency.py`

A real service with the default settings, but it keeps no finished frames; a drop of 48 frames for a panel of 768 x
1024 is copied in, file by file. Seconds come from the service's own log (state/service.log, as an operator has it)
and from looking at the folders a hundred times a second. Then a drop in a hurry behind a queue of twenty, and
`keyturn make` on all cores. Nothing passes or fails: it prints tables (Markdown).
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import grown
import measure
from grown import KEYTURN, REGULAR_FOLDER, until

from keyturn.shop.folders import Shop

_LINE = re.compile(r"(?P<at>\S+) +\w+ +(?P<what>.*)")
_STAGE = re.compile(r"(\w+) ([\d.]+)(?=[,)])")
QUEUE = 20
NOTHING_KEPT = "[keep]\nframes_gib = 0\n"
"""Every drop has the same pictures: each is to be made anew."""


def main() -> None:
    asked = _arguments()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-latency-", dir=asked.where) as folder:
        scratch = Path(folder)
        pictures = grown.drawn(scratch / "art", asked.frames)
        shop = grown.opened(scratch / "shop")
        (shop.root / "keyturn.toml").write_text(f'[log]\nfile = "{shop.state}/service.log"\n{NOTHING_KEPT}')
        with grown.service(shop):
            _print_stages([_one(shop, pictures, f"van-{n}") for n in range(asked.rounds + 1)], asked.frames)
            _print_at_once([_moved_in(shop, pictures, f"whole-{n}") for n in range(asked.rounds)], asked.frames)
            _print_rush(shop, pictures)
        _print_make(scratch, pictures)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--frames", type=int, default=48)
    parser.add_argument("--rounds", type=int, default=5, help="after a first one that starts the workers")
    parser.add_argument("--where", type=Path, help="where the shop is built; default the system's temporary folder")
    return parser.parse_args()


def _one(shop: Shop, pictures: list[Path], name: str) -> dict[str, float]:
    """Seconds by stage of one drop, in the order in which they pass."""
    copied_at = _copied(shop, pictures, name)
    place = shop.outbox / REGULAR_FOLDER / f"{name}-r1"
    gone_at = _when(lambda: not (shop.inbox / name).exists())
    published_at = _when(place.exists)
    link = f"{REGULAR_FOLDER}/{name}-r1/card.html"
    board_at = _when(lambda: link in shop.board.read_text())
    taken_at, said = _told(shop, name)
    stages = {stage: float(seconds) for stage, seconds in _STAGE.findall(said.partition(": ")[2])}
    publish = published_at - (taken_at + sum(s for stage, s in stages.items() if stage not in ("publish", "sheet")))
    return {
        "settle": gone_at - copied_at,
        "claim": taken_at - gone_at,
        **{stage: s for stage, s in stages.items() if stage not in ("publish", "sheet")},
        "publish": publish,
        "archive": stages["publish"] - publish,
        "sheet": stages["sheet"],
        "board": board_at - published_at - (stages["publish"] - publish) - stages["sheet"],
        "from the last byte to published": published_at - copied_at,
        "of these after settling": published_at - gone_at,
    }


def _moved_in(shop: Shop, pictures: list[Path], name: str) -> tuple[float, float]:
    """Seconds until a drop is taken and published that is made elsewhere and moved in by one rename at once."""
    made = grown.lay(shop.root / "laying", pictures, grown.manifest())
    closed_at = time.time()
    time.sleep(0.01)  # a moment, as any program takes: the clock of file times ticks every 4 ms
    made.rename(shop.inbox / name)
    gone_at = _when(lambda: not (shop.inbox / name).exists())
    return gone_at - closed_at, _when((shop.outbox / REGULAR_FOLDER / f"{name}-r1").exists) - closed_at


def _print_at_once(drops: list[tuple[float, float]], frames: int) -> None:
    print(f"A drop of {frames} frames that is moved in by one rename, seconds from its last byte, {len(drops)} times\n")
    print("| | median | least | most |\n|---|---:|---:|---:|")
    for what, seconds in zip(("taken", "published"), zip(*drops, strict=True), strict=True):
        print(f"| {what} | {statistics.median(seconds):.2f} | {min(seconds):.2f} | {max(seconds):.2f} |")
    print(flush=True)


def _copied(shop: Shop, pictures: list[Path], name: str, *, rush: bool = False) -> float:
    """Copies a drop in as a file manager does; when its last byte was written."""
    (shop.inbox / name / "lamps").mkdir(parents=True)
    for path in pictures:
        shutil.copyfile(path, shop.inbox / name / "lamps" / path.name)
    (shop.inbox / name / "job.toml").write_text(grown.manifest(rush=rush))
    return time.time()


def _when(true: Callable[[], bool]) -> float:
    until(true, 0.01)
    return time.time()


def _told(shop: Shop, name: str) -> tuple[float, str]:
    """When the log says that the drop was taken, and what it says of its stages."""
    until(lambda: f" {name}: ready" in (shop.state / "service.log").read_text())
    lines = [_LINE.fullmatch(line) for line in (shop.state / "service.log").read_text().splitlines()]
    said = {found["what"]: found["at"] for found in lines if found}
    taken = datetime.fromisoformat(said[f"{name}: taken from the inbox"]).timestamp()
    return taken, next(what for what in said if what.startswith(f"{name}: ready")).partition("(")[2]


def _print_stages(drops: list[dict[str, float]], frames: int) -> None:
    first, *rest = drops
    print(f"A drop of {frames} frames, seconds: the first after the start, then the median of {len(rest)}\n")
    print("| stage | first | median | least | most |\n|---|---:|---:|---:|---:|")
    for stage in first:
        later = [drop[stage] for drop in rest]
        cells = [first[stage], statistics.median(later), min(later), max(later)]
        print(f"| {stage} | {' | '.join(f'{max(0.0, s):.2f}' for s in cells)} |")
    print(flush=True)


def _print_rush(shop: Shop, pictures: list[Path]) -> None:
    for number in range(QUEUE):
        grown.lay(shop.root / "laying", pictures, grown.manifest()).rename(shop.inbox / f"queue-{number:02d}")
    until(lambda: bool(list(shop.outbox.glob("*/queue-*"))))
    copied_at = _copied(shop, pictures, "hurry", rush=True)
    until((shop.outbox / REGULAR_FOLDER / "hurry-r1").exists, 0.01)
    before = len(list(shop.outbox.glob("*/queue-*")))
    print(
        f"A drop in a hurry, copied in when the first of {QUEUE} others was published: {before} of them were published"
    )
    print(f"before it, {time.time() - copied_at:.1f} s after its last byte, of which 2 s are settling.\n", flush=True)


def _print_make(scratch: Path, pictures: list[Path]) -> None:
    drop = grown.lay(scratch / "by-hand", pictures, grown.manifest())
    cost, _ = measure.run([*KEYTURN, "make", drop, "--out", scratch / "by-hand-out"], quiet=True)
    alone = ["taskset", "-c", "0", *KEYTURN, "make", drop, "--out", scratch / "by-hand-out"]
    print("| `keyturn make` | wall s | CPU s | CPU s a second |\n|---|---:|---:|---:|")
    print(f"| all {os.cpu_count()} cores | {cost.wall:.1f} | {cost.cpu:.1f} | {cost.cpu / cost.wall:.2f} |")
    if shutil.which("taskset"):
        one, _ = measure.run(alone, quiet=True)
        print(f"| held to one core | {one.wall:.1f} | {one.cpu:.1f} | {one.cpu / one.wall:.2f} |")


if __name__ == "__main__":
    main()
