"""Does the board stay quick with a thousand jobs? `python tests/benchmarks/board.py [--jobs 1000] [--shots FOLDER]`

Jobs stand in all five places, each with its held frame as a file. Measured are the page's bytes, the time to write it
(anew, with one job changed, and with none), to open it in headless Chromium from a file, and to filter it: from the
letter typed until the next picture is drawn. Nothing passes or fails: it prints a table (Markdown). With `--shots` it
also takes pictures of the page, 390 and 1280 pixels wide.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw
from playwright.sync_api import sync_playwright

from keyturn.package import held_picture
from keyturn.pages.board import board
from keyturn.shop.state_records import PLACES, PlaceCounts, PlacedJob, ShopState

CUSTOMERS = ("Fern Hollow Mobile Library", "Quarry Bakery", "Moss & Mint Garden Nursery", "Fern Hollow Ferry Steps")
RADIOS = ("tall-768x1024", "wide-1024x600", "compact-800x480")
SAID = ("Marta Lindqvist: the lamps are too yellow", "yes from Marta Lindqvist", "on VAN (1A2B-3C4D) at /media/van", "",
        "by Tobias, van 2, boots in 18.2 s")  # fmt: skip
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")
NOW = datetime.now(UTC).replace(microsecond=0)

TYPED = """text => new Promise(done => {
  const field = document.querySelector('[name=q]'), began = performance.now();
  field.value = text;
  field.dispatchEvent(new Event('input', { bubbles: true }));
  requestAnimationFrame(() => setTimeout(() => done(performance.now() - began)));
})"""
"""In the page: the ms from a change of the field until what follows from it is drawn."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=1000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--shots", type=Path)
    asked = parser.parse_args()
    print(f"{NOW:%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-board-") as folder:
        _measure(Path(folder), asked)


def _measure(outbox: Path, asked: argparse.Namespace) -> None:
    jobs = [_job(outbox, number) for number in range(asked.jobs)]
    first = _ms(lambda: board(_state(jobs)))
    same = _ms(lambda: board(_state(jobs)))
    changed = [jobs[0].model_copy(update={"said": "changed"}), *jobs[1:]]
    one = _ms(lambda: board(_state(changed)))
    page = board(_state(jobs)).encode("utf-8")
    (outbox / "board.html").write_bytes(page)
    print(f"| {asked.jobs} jobs | |\n|---|---:|")
    print(f"| page, KiB | {len(page) / 1024:.0f} |\n| held frames, KiB in all | {_held_kib(outbox):.0f} |")
    print(f"| write: first, one job changed, none changed, ms | {first:.0f}, {one:.0f}, {same:.1f} |", flush=True)
    _browse(outbox / "board.html", asked)


def _job(outbox: Path, number: int) -> PlacedJob:
    path = f"customer-{number % 40}/job-{number}-r1"
    (outbox / path).mkdir(parents=True)
    (outbox / path / held_picture.FILE_NAME).write_bytes(_held(number))
    place = number % len(PLACES)
    return PlacedJob(
        customer=f"{CUSTOMERS[number % len(CUSTOMERS)]} {number % 40}", job=f"van-{number}", revision=1 + number % 3,
        radios=RADIOS[: 1 + number % 2], path=path, made_at=(NOW - timedelta(days=9)).isoformat(),
        picture=held_picture.FILE_NAME, place=tuple(PLACES)[place],
        since=(NOW - timedelta(hours=number % 150)).isoformat(), said=SAID[place],
    )  # fmt: skip


def _held(number: int) -> bytes:
    """A picture that packs about as well as the sample inbox's: 1 to 2 KB."""
    import io

    picture = Image.composite(
        Image.new("RGB", (72, 96), f"hsl({number * 37 % 360}, 50%, 60%)"),
        Image.effect_noise((72, 96), 30).convert("RGB"),
        Image.linear_gradient("L").resize((72, 96)),
    )
    ImageDraw.Draw(picture).ellipse((20, 20 + number % 40, 50, 50 + number % 40), fill="#f0c552")
    file = io.BytesIO()
    picture.save(file, "WEBP", quality=held_picture.QUALITY)
    return file.getvalue()


def _state(jobs: list[PlacedJob]) -> ShopState:
    counts = PlaceCounts(**{place: sum(job.place == place for job in jobs) for place in PLACES}, fitted_earlier=4321)
    return ShopState(at=NOW.isoformat(), running=True, jobs=tuple(jobs), places=counts)


def _held_kib(outbox: Path) -> float:
    return sum(path.stat().st_size for path in outbox.glob(f"*/*/{held_picture.FILE_NAME}")) / 1024


def _ms(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - began)


def _browse(path: Path, asked: argparse.Namespace) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        for width, height in ((1280, 900), (390, 844)):
            page = browser.new_page(viewport={"width": width, "height": height})
            opened, filtered = [], []
            for _ in range(asked.rounds):
                page.goto("about:blank")
                began = time.perf_counter()
                page.goto(path.as_uri(), wait_until="load")
                opened.append(1000 * (time.perf_counter() - began))
                filtered += [page.evaluate(TYPED, text) for text in ("v", "va", "van-7", "van-77", "")]
            print(f"| open, {width} px wide, median ms | {statistics.median(opened):.0f} |")
            print(f"| filter, median and longest ms | {statistics.median(filtered):.0f}, {max(filtered):.0f} |")
            _shoot(page, asked.shots, width)
        browser.close()


def _shoot(page: Any, folder: Path | None, width: int) -> None:
    if folder is None:
        return
    folder.mkdir(parents=True, exist_ok=True)
    page.wait_for_timeout(300)
    page.screenshot(path=folder / f"board-{width}.png")
    page.fill("[name=q]", "van-77")
    page.screenshot(path=folder / f"board-{width}-search.png")


if __name__ == "__main__":
    main()
