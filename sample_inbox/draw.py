"""Draws the pictures of the sample inbox: the Fern Hollow mobile library and its neighbours, all invented.

    python sample_inbox/draw.py [--out DIR] [DROP ...]

Needs Pillow and numpy. Drawing again gives the same bytes with the same versions of both.
The job.toml files and tables are written by hand; with --out they are copied along, so that DIR is an inbox too.
"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

from _scenes import bakery, fern, ferry, fleet, gate, glide, lamps, van

HERE = Path(__file__).resolve().parent

BY_HAND = ("job.toml", "fleet.csv")

SCENES: dict[str, Callable[[Path], None]] = {
    "lamp-by-lamp": lamps.draw,
    "fern-unfurls": fern.draw,
    "bakery-steam": bakery.draw,
    "garden-gate": gate.draw,
    "ferry-steps": ferry.draw,
    "second-van": van.draw,
    "ferry-glide": glide.draw,
    "six-vans": fleet.draw,
}


def main(words: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description="Draws the pictures of the sample inbox.")
    parser.add_argument("drops", nargs="*", metavar="DROP", help=f"some of: {', '.join(SCENES)} (default: all)")
    parser.add_argument("--out", type=Path, default=HERE, help="where the drops go (default: beside this script)")
    wanted = parser.parse_args(words)
    if unknown := [name for name in wanted.drops if name not in SCENES]:
        parser.error(f"there is no drop called {', '.join(unknown)}; there are {', '.join(SCENES)}")
    for name in wanted.drops or SCENES:
        draw(name, wanted.out.resolve())
        print(f"drawn: {name}")


def draw(name: str, out: Path) -> None:
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    SCENES[name](folder)
    for by_hand in BY_HAND if out != HERE else ():
        if (HERE / name / by_hand).exists():
            shutil.copyfile(HERE / name / by_hand, folder / by_hand)


if __name__ == "__main__":
    main()
