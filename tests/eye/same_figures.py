"""Does a change of the code change a figure of the flash check? Writes down all figures, before and after.

    python tests/eye/same_figures.py write before.json [--films 200]
    python tests/eye/same_figures.py compare before.json after.json

`write` checks seeded random films (flicker of many sorts, noise, moving boxes, reds, zooms, loops), each with and
without its pixels, and the drops of the sample inbox as they are made. A figure counts as the same when every bit of it
is. `compare` exits with 1 where one differs.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from keyturn.commands import make_by_hand
from keyturn.eye import luminance
from keyturn.eye.flash_check import flash_check
from keyturn.eye.screen import Screen
from keyturn.package import PRELOAD
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import LocalCrew

SAMPLES = Path(__file__).parents[2] / "sample_inbox"
RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")
U8 = NDArray[np.uint8]
SIZES = ((160, 120), (96, 200), (241, 133), (64, 48))
KINDS = ("groups", "noise", "box", "stripes", "checks", "zoom", "mixed", "rings")
STATES = (
    ((0, 0, 0), (255, 255, 255)),
    ((40, 40, 40), (180, 180, 180)),
    ((255, 0, 0), (0, 0, 255)),
    ((200, 0, 0), (127, 127, 127)),
    ((120, 52, 20), (40, 60, 60)),
    ((232, 232, 232), (255, 255, 255)),
)


@dataclass
class Shown:
    """A picture of a film; its pixels are to be had where `given`."""

    rgb: U8
    cell_px: float
    given: bool

    def cells(self) -> NDArray[np.uint16]:
        return luminance.cells(self.rgb, self.cell_px)

    def pixels(self) -> U8 | None:
        return self.rgb if self.given else None


def film(seed: int) -> tuple[list[U8], list[float], Screen]:
    """The pictures of a film, the seconds at which they appear, and the screen that it is shown on."""
    rng = np.random.default_rng(seed)
    size = SIZES[int(rng.integers(len(SIZES)))]
    field = (float(size[0] * rng.uniform(0.3, 1.4)), float(size[1] * rng.uniform(0.3, 1.4)))
    screen = Screen(*size, field, float(rng.choice([1.0, 2.4, 3.41, 4.0, 7.03])))
    pictures = list(painted(KINDS[seed % len(KINDS)], size, int(rng.integers(6, 24)), rng))
    order = [n for _ in range(int(rng.integers(1, 4))) for n in range(len(pictures))]
    steps = rng.choice([1 / 60, 1 / 30, 1 / 12, 1 / 8, 0.25, 0.6], len(order), p=[0.2, 0.3, 0.2, 0.15, 0.1, 0.05])
    pace = steps if rng.random() < 0.3 else np.full(len(order), steps[0])
    return [pictures[n] for n in order], np.cumsum(pace).tolist(), screen


def painted(kind: str, size: tuple[int, int], count: int, rng: np.random.Generator) -> Iterator[U8]:
    """`count` pictures in which something of `kind` changes."""
    width, height = size
    y, x = np.indices((height, width))
    two = np.array(STATES[int(rng.integers(len(STATES)))], np.uint8)
    side, reach = int(rng.integers(2, 30)), int(rng.integers(20, 70))
    groups = rng.integers(0, 3, (height // 8 + 1, width // 8 + 1)).repeat(8, 0).repeat(8, 1)[:height, :width]
    base = rng.integers(0, 256, (height // 9 + 1, width // 9 + 1, 3)).repeat(9, 0).repeat(9, 1)[:height, :width]
    for n in range(count):
        on = rng.random((height, width)) < 0.5
        if kind == "groups":
            on = np.array([n % 2, n // 2 % 2, n // 3 % 2])[groups] == 1
        elif kind == "box":
            left, top = n * side % width, n * side // 2 % height
            on = (x >= left) & (x < left + reach) & (y >= top) & (y < top + reach)
        elif kind == "stripes":
            on = (x // side + n) % 2 == 0
        elif kind == "checks":
            on = (x // side + y // side + n) % 2 == 0
        elif kind == "rings":
            on = np.hypot(x - width / 2, y - height / 2) // side % 2 == n // 2 % 2
        elif kind == "mixed":
            on = np.where(y < height // 2, on, (x // side + n) % 2 == 0)
        if kind == "zoom":
            yield np.clip(np.roll(base, (n * 3, n * 5), (0, 1)) + 12 * (n % 5), 0, 255).astype(np.uint8)
        else:
            yield two[on.astype(np.intp)]


def random_films(count: int) -> Iterator[tuple[str, str]]:
    for seed in range(count):
        pictures, times, screen = film(seed)
        for given in (True, False):
            shown = [(at_s, Shown(rgb, screen.cell_px, given)) for at_s, rgb in zip(times, pictures, strict=True)]
            record = flash_check(screen, RULES, lambda shown=shown: shown)
            yield f"film {seed} {KINDS[seed % len(KINDS)]} {'pixels' if given else 'cells'}", record.model_dump_json()


def sample_drops() -> Iterator[tuple[str, str]]:
    rules = rulebook.load()
    crew = LocalCrew(0, rules.intake.workers, PRELOAD)
    for drop in sorted(path.parent for path in SAMPLES.glob("*/job.toml")):
        with tempfile.TemporaryDirectory(prefix="keyturn-same-") as out:
            try:
                bench = Bench(rules, crew, lambda: datetime(2026, 3, 1, tzinfo=UTC))
                for radio in make_by_hand.make(drop, Path(out), bench).made.record.radios:
                    yield f"{drop.name} {radio.radio}", radio.flash.model_dump_json()
            except Refused:
                continue
    crew.close()


def compare(before: Path, after: Path) -> int:
    old, new = (json.loads(path.read_text("utf-8")) for path in (before, after))
    both = sorted(old.keys() & new.keys())
    differing = [f"{name}\n  {old[name]}\n  {new[name]}" for name in both if old[name] != new[name]]
    print("\n".join(differing[:20]))
    print(f"{len(both)} checks compared, {len(old.keys() ^ new.keys())} in one file alone")
    print(f"{len(differing)} differ")
    return 1 if differing else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("write", "compare"))
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--films", type=int, default=200)
    args = parser.parse_args()
    if args.what == "compare":
        return compare(*args.files)
    figures = dict([*sample_drops(), *random_films(args.films)])
    failing = sum('"passes":false' in told for told in figures.values())
    args.files[0].write_text(json.dumps(figures, indent=1, sort_keys=True), encoding="utf-8")
    print(f"{len(figures)} checks, of which {failing} fail, in {args.files[0]}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
