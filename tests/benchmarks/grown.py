"""Shops for the benchmarks: empty ones, and ones that have been at work for years, built by copying one real job."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import art
import measure
import numpy as np
from PIL import Image

from keyturn.shop.folders import Shop
from keyturn.shop.records import Rejection

REGULAR = "Fern Hollow Mobile Library"
"""The customer for whom the measured drops are, with `REGULARS` revisions in a grown shop."""

REGULAR_FOLDER = "fern-hollow-mobile-library"
REGULARS, A_CUSTOMER, A_JOB = 600, 50, 10
FIRST = datetime(2023, 1, 1, tzinfo=UTC)
PATIENCE_S = 600


def manifest(customer: str = REGULAR, *, rush: bool = False, more: str = "") -> str:
    hurry = "rush = true\n" if rush else ""
    return f'customer = "{customer}"\nradio = "tall-768x1024"\nfit = "cover"\n{hurry}{more}'


def drawn(folder: Path, frames: int) -> list[Path]:
    return art.write("flat", folder, frames)


def bars(folder: Path, frames: int) -> list[Path]:
    """Pictures of the panel's own size, each unlike all others, quick to draw: a dim bar that wanders."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{number:04d}.png" for number in range(1, frames + 1)]
    for number, path in enumerate(paths):
        pixels = np.full((1024, 768, 3), (40, 60, 80), np.uint8)
        pixels[number % 1000 : number % 1000 + 20, 20 + number // 1000 * 40 :] = (60, 80, 90)
        Image.fromarray(pixels).save(path, compress_level=1)
    return paths


def lay(folder: Path, pictures: list[Path], text: str) -> Path:
    """A drop of links to `pictures`: what is copied costs no disk, and is read like any other."""
    (folder / "lamps").mkdir(parents=True)
    for path in pictures:
        (folder / "lamps" / path.name).hardlink_to(path)
    (folder / "job.toml").write_text(text)
    return folder


def opened(folder: Path) -> Shop:
    shop = Shop(folder)
    shop.create()
    return shop


def made_once(drop: Path, scratch: Path) -> Path:
    """One real revision, by `keyturn make`."""
    subprocess.run([*KEYTURN, "make", drop, "--out", scratch], check=True, capture_output=True)
    return next(scratch.glob("*/*-r1"))


def grow(shop: Shop, revision: Path, jobs: int, refused: int = 200) -> None:
    """`jobs` revisions in the outbox and as many drops in the archive."""
    told = json.loads((revision / "job.json").read_text())
    for number in range(jobs):
        regular, place = number < REGULARS, number - REGULARS
        customer = REGULAR if regular else f"Neighbour {place // A_CUSTOMER:04d}"
        job, count = f"sign-{(number if regular else place % A_CUSTOMER) // A_JOB:03d}", number % A_JOB + 1
        at = FIRST + timedelta(minutes=97 * number)
        claim = f"{at:%Y%m%dT%H%M%S}-{number:06x}-{job}"
        name = f"{customer.lower().replace(' ', '-')}/{job}-r{count}"
        target = shop.outbox / name
        shutil.copytree(revision, target, copy_function=os.link, ignore=shutil.ignore_patterns("job.json"))
        now = {"customer": customer, "job": job, "revision": count, "claim": claim, "made_at": at.isoformat()}
        (target / "job.json").write_text(json.dumps(told | now, indent=2))
        kept = shop.archive / f"{name}--{claim}"
        kept.mkdir(parents=True)
        (kept / "job.toml").hardlink_to(revision / "card.html")
    for number in range(refused):
        folder = shop.rejects / f"refused-{number:04d}"
        folder.mkdir()
        at_text = (FIRST + timedelta(days=number)).isoformat()
        record = Rejection(keyturn="0", drop="d", claim="c", customer=REGULAR, rejected_at=at_text, reasons=())
        (folder / "REJECTED.json").write_text(record.model_dump_json())


def queue(shop: Shop, pictures: list[Path], count: int, *, whole: bool = True) -> None:
    """Drops that wait; those that are not `whole` hold a file that is still being copied, by its name."""
    for name in (f"waits-{number:04d}" for number in range(count)):
        if (shop.inbox / name).exists():
            continue
        drop = lay(shop.root / "laying", pictures, manifest("Quarry Bakery"))
        if not whole:
            (drop / "lamps" / "last.png.part").write_bytes(b"")
        drop.rename(shop.inbox / name)


# -- the service ----------------------------------------------------------------------------------------

KEYTURN = (sys.executable, "-m", "keyturn")


@contextmanager
def service(shop: Shop) -> Iterator[subprocess.Popen[bytes]]:
    """A real service process on `shop`, ready; its log is in state/bench.log."""
    with (shop.state / "bench.log").open("wb") as log:
        process = subprocess.Popen([*KEYTURN, "run", "--root", shop.root], stdout=log, stderr=log)
    try:
        until(lambda: b"watching" in (shop.state / "bench.log").read_bytes() or process.poll() is not None)
        if process.poll() is not None:
            raise RuntimeError((shop.state / "bench.log").read_text())
        yield process
    finally:
        process.terminate()
        process.wait(60)


def until(true: Callable[[], bool], every_s: float = 0.02) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        if time.monotonic() > end:
            raise TimeoutError("waited in vain")
        time.sleep(every_s)


def own_cpu(pid: int) -> float:
    """Processor seconds of the process itself, its ended threads included (proc(5), stat)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def held_mib(pid: int) -> tuple[float, float]:
    """Resident set of the process, and the proportional set of it and all under it, in MiB."""
    resident = next(x for x in Path(f"/proc/{pid}/status").read_text().splitlines() if x.startswith("VmRSS:"))
    return int(resident.split()[1]) / 1024, _tree_pss(pid) / 1024


def children(pid: int) -> list[int]:
    """The processes that the process has started and that live (proc(5), children)."""
    return [int(c) for f in Path(f"/proc/{pid}/task").glob("*/children") for c in f.read_text().split()]


def _tree_pss(pid: int) -> int:
    return measure.pss_kib(pid) + sum(map(_tree_pss, children(pid)))
