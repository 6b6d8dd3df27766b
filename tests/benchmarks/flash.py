"""What the flash check costs at its worst: `python tests/benchmarks/flash.py [--radio tall-768x1024] [--frames 24]`.

For each kind of film the processor's milliseconds a picture: of the cells alone, and with the pixels counted where
cells cannot decide. How many stretches those were stands beside. A film plays three times at 24 fps. Times of two
versions of the program can be compared only where they are measured side by side.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import luminance
from keyturn.eye.flash import FlashMeter
from keyturn.eye.flash_check import flash_check
from keyturn.eye.screen import Screen
from keyturn.shop import rulebook

FPS = 24
PLAYS = 3
U8 = NDArray[np.uint8]


@dataclass
class Shown:
    """A picture whose cells are known, as they are once a worker has made a frame."""

    rgb: U8
    known: NDArray[np.uint16]

    def cells(self) -> NDArray[np.uint16]:
        return self.known

    def pixels(self) -> U8 | None:
        return self.rgb


def kinds(width: int, height: int) -> dict[str, Callable[[int], U8]]:
    """Painters of frame `n` by what they paint."""
    y, x = np.indices((height, width))
    rng = np.random.default_rng(1)
    ground = np.clip(90 + 60 * np.sin(x / 97)[..., None] + rng.normal(0, 6, (height, width, 3)), 0, 255)
    dots = rng.random((height, width)) < 0.5

    def two(on: NDArray[np.bool_], dark: tuple[int, int, int], light: tuple[int, int, int]) -> U8:
        return np.array([dark, light], np.uint8)[on.astype(np.intp)]

    grey, black, white = (110, 110, 110), (0, 0, 0), (255, 255, 255)
    part = (x < width // 2) & (y < height // 2)
    groups = rng.integers(0, 4, (height // 16 + 1, width // 16 + 1)).repeat(16, 0).repeat(16, 1)[:height, :width]
    return {
        "still": lambda n: ground.astype(np.uint8),
        "a box slides over a picture": lambda n: np.where(
            ((abs(x - n * 14) < 60) & (abs(y - height / 2) < 90))[..., None], 240, ground
        ).astype(np.uint8),
        "a photograph pans": lambda n: np.roll(ground, 9 * n, 1).astype(np.uint8),
        "a fade of all": lambda n: np.clip(ground * abs(np.cos(n / 9)), 0, 255).astype(np.uint8),
        "stars twinkle": lambda n: two((groups == n % 4) & (x % 16 < 7) & (y % 16 < 7), grey, white),
        "noise": lambda n: two(np.roll(dots, (31 * n, 57 * n), (0, 1)), black, white),
        "a quarter flickers": lambda n: two(part & (n % 4 < 2), grey, white),
        "all flickers": lambda n: two((x >= 0) & (n % 4 < 2), black, white),
        "stripes move": lambda n: two((x // 24 + n // 2) % 2 == 0, black, white),
        "stripes as wide as a cell move": lambda n: two((x // 7 + n // 2) % 2 == 0, black, white),
        "blocks flicker out of step": lambda n: two((groups + n) // 2 % 2 == 0, black, white),
        "blocks turn red out of step": lambda n: two((groups + n) // 2 % 2 == 0, (40, 60, 60), (220, 0, 0)),
        "red rings grow": lambda n: two(
            (np.hypot(x - width / 2, y - height / 2) - 9 * n) % 90 < 45, black, (200, 0, 0)
        ),
    }


def cost(screen: Screen, rules: rulebook.Flash, paint: Callable[[int], U8], frames: int) -> tuple[float, float, int]:
    """Milliseconds a picture by cells alone and in all, and the stretches that pixels had to decide."""
    pictures = [paint(n) for n in range(frames)]
    # in one piece, as cells are once they were kept on disk
    made = [Shown(rgb, np.ascontiguousarray(luminance.cells(rgb, screen.cell_px))) for rgb in pictures]
    shown = [(n / FPS, picture) for n, picture in enumerate(made * PLAYS)]
    begun = time.process_time()
    meter = FlashMeter(screen, rules)
    for at_s, picture in shown:
        meter.show(picture.cells(), at_s)
    by_cells = time.process_time() - begun
    begun = time.process_time()
    flash_check(screen, rules, lambda: shown)
    whole = time.process_time() - begun
    return 1000 * by_cells / len(shown), 1000 * whole / len(shown), len(meter.undecided())


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    said.add_argument("--radio", default="tall-768x1024")
    said.add_argument("--frames", type=int, default=24)
    wanted = said.parse_args()
    rules = rulebook.load()
    panel, flash = rules.radios[wanted.radio].panel, rules.safety.flash
    screen = Screen.of(panel, flash)
    print(f"{wanted.radio}: {screen.shape[0]} x {screen.shape[1]} cells, {wanted.frames} frames, {PLAYS} plays\n")
    print("| film | cells, ms a picture | with pixels | stretches |\n|---|---:|---:|---:|")
    for kind, paint in kinds(panel.width, panel.height).items():
        by_cells, whole, stretches = cost(screen, flash, paint, wanted.frames)
        print(f"| {kind} | {by_cells:.1f} | {whole:.1f} | {stretches} |", flush=True)


if __name__ == "__main__":
    main()
