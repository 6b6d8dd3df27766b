"""What a revision costs, as a share of the first: `python tests/benchmarks/revisions.py`

    python tests/benchmarks/revisions.py [--kinds samples flat] [--frames 45] [--rounds 3] [--art FOLDER]

A real service, warm, makes a drop of 45 frames for 768 x 1024, then the same drop with another fps, with one picture
redrawn, and with all of them redrawn. A second service does the same without keeping frames (`frames_gib = 0`), each
step right after the first one's, so that both meet the same machine. Seconds are from the claim to the published
revision; CPU seconds are those of the service and its workers. Nothing passes or fails: it prints a table (Markdown),
medians of the rounds with the least and the most.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import art
import grown
import measure
from grown import REGULAR_FOLDER, until
from PIL import Image, ImageDraw

from keyturn.shop.folders import Shop

STEPS = ("first", "fps changed", "one redrawn", "all redrawn")
BARS = {"fps changed": "at least 8", "one redrawn": "at least 6", "all redrawn": "at most 1.03 of without"}
SETTINGS = "[settle]\nseconds = 0.05\nclosed_seconds = 0.05\n"
LOOK_S = 0.004


@dataclass(frozen=True, slots=True)
class Took:
    """Seconds of the wall clock, and of the processors."""

    wall: float
    cpu: float


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--kinds", nargs="+", choices=tuple(art.STILLS), default=["samples", "photographic", "flat"])
    said.add_argument("--frames", type=int, default=45)
    said.add_argument("--rounds", type=int, default=3)
    said.add_argument("--art", type=Path, help="where the pictures are drawn, to be used again")
    wanted = said.parse_args()
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} cores, load before the start {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory(prefix="keyturn-revisions-") as folder:
        for kind in wanted.kinds:
            pictures = art.write(kind, (wanted.art or Path(folder)) / kind, 2 * wanted.frames)
            rounds = [_round(Path(folder) / f"{kind}-{n}", pictures) for n in range(wanted.rounds)]
            _print(kind, wanted.frames, rounds)


def _round(folder: Path, pictures: list[Path]) -> list[tuple[Took, Took]]:
    """What each step took with frames kept, and without."""
    with ExitStack() as stack:
        shops = [grown.opened(folder / name) for name in ("kept", "without")]
        for shop, keep in zip(shops, ("", "[keep]\nframes_gib = 0\n"), strict=True):
            (shop.root / "keyturn.toml").write_text(SETTINGS + keep)
        services = [(shop, stack.enter_context(grown.service(shop))) for shop in shops]
        for shop, process in services:
            _made(shop, process, grown.bars(folder / "bars", 6), "warm", grown.manifest())
        took = [
            (_made(*services[0], files, "van", text, revision), _made(*services[1], files, "van", text, revision))
            for revision, (files, text) in enumerate(_steps(folder, pictures), 1)
        ]
    shutil.rmtree(folder)
    return took


def _steps(folder: Path, pictures: list[Path]) -> Iterator[tuple[list[Path], str]]:
    """Yield the pictures and the manifest of each step."""
    half = len(pictures) // 2
    first, other = pictures[:half], pictures[half:]
    text = grown.manifest(more="[motion]\nfps = 20\n")
    faster = grown.manifest(more="[motion]\nfps = 24\n")
    yield first, text
    yield first, faster
    redrawn = folder / "redrawn" / first[half // 2].name
    redrawn.parent.mkdir()
    with Image.open(first[half // 2]) as picture:
        ImageDraw.Draw(picture).ellipse((900, 300, 1000, 400), fill=(120, 110, 100, 255))
        picture.save(redrawn, compress_level=4)
    yield [*first[: half // 2], redrawn, *first[half // 2 + 1 :]], faster
    yield [*other[1:], other[0]], faster


def _made(
    shop: Shop, process: subprocess.Popen[bytes], pictures: list[Path], name: str, text: str, revision: int = 1
) -> Took:
    """Give the service a drop; return what it took from its claim to its revision."""
    laid = grown.lay(shop.root / "laying", pictures, text)
    cpu = measure.tree_cpu(process.pid)
    laid.rename(shop.inbox / name)
    until(lambda: not (shop.inbox / name).exists(), LOOK_S)
    start = time.perf_counter()
    until((shop.outbox / REGULAR_FOLDER / f"{name}-r{revision}").exists, LOOK_S)
    wall = time.perf_counter() - start
    until(lambda: not any((shop.work).iterdir()), LOOK_S)
    time.sleep(0.3)  # sheet, ledger and board follow
    return Took(wall, measure.tree_cpu(process.pid) - cpu)


def _print(kind: str, frames: int, rounds: list[list[tuple[Took, Took]]]) -> None:
    print(f"{frames} frames of {kind}, {len(rounds)} rounds\n")
    print("| revision | wall s | CPU s | the first: times its wall | times its CPU | without: wall s", end=" | ")
    print("with / without: wall | CPU | bar |")
    print("|---|---:|---:|---:|---:|---:|---:|---:|---|")
    for at, step in enumerate(STEPS):
        kept, without = [one[at][0] for one in rounds], [one[at][1] for one in rounds]
        first = [one[0][0] for one in rounds]
        cells = [step, *(f"{statistics.median(getattr(t, what) for t in kept):.2f}" for what in ("wall", "cpu"))]
        cells += [_ratio(first, kept, what) for what in ("wall", "cpu")]
        cells.append(f"{statistics.median(t.wall for t in without):.2f}")
        cells += [_ratio(kept, without, what) for what in ("wall", "cpu")]
        print(f"| {' | '.join([*cells, BARS.get(step, '')])} |")
    print(flush=True)


def _ratio(these: list[Took], those: list[Took], what: str) -> str:
    ratios = [getattr(a, what) / getattr(b, what) for a, b in zip(these, those, strict=True)]
    return f"{statistics.median(ratios):.2f} ({min(ratios):.2f}-{max(ratios):.2f})"


if __name__ == "__main__":
    main()
