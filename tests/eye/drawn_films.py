"""Some hundreds of films near the limits of WCAG 2.2: general and red, areas of 20 to 30 %, many shapes and grounds.

They are drawn from numbered generators. What each must come to is worked out by `pixel_oracle`, not here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

Rgb = tuple[int, int, int]
SHAPES = ("box", "strip", "column", "scattered", "clipped", "moving", "disc", "two boxes")
AREAS = (0.20, 0.23, 0.244, 0.248, 0.25, 0.252, 0.256, 0.26, 0.27, 0.30)
SCREENS = [  # size, and the field on it in pixels
    ((512, 384), (341, 256)),
    ((400, 300), (341, 256)),
    ((333, 251), (200, 150)),
    ((256, 192), (171, 128)),
    ((300, 500), (595.4, 446.55)),  # a panel smaller than its field
    ((420, 310), (270.5, 202.875)),
    ((240, 180), (120, 90)),
    ((200, 150), (85.25, 64)),
]


@dataclass(frozen=True)
class Drawn:
    name: str
    size: tuple[int, int]
    field: tuple[float, float]
    times: tuple[float, ...]
    picture: Callable[[int], np.ndarray]

    def pictures(self) -> list[np.ndarray]:
        return [self.picture(n) for n in range(len(self.times))]


def mask(shape: str, size: tuple[int, int], field: tuple[float, float], share: float, rng) -> np.ndarray:
    """Pixels whose number within one field is as near as can be to `share` of it; for a moving shape, its first."""
    width, height = size
    area = share * field[0] * field[1]
    lit = np.zeros((height, width), bool)
    wide, tall = min(width, int(field[0])), min(height, int(field[1]))
    if shape == "strip":
        rows = max(1, int(area / wide))
        top = int(rng.integers(0, height - rows + 1))
        lit[top : top + rows] = True
        return lit
    if shape == "column":
        cols = max(1, int(area / tall))
        left = int(rng.integers(0, width - cols + 1))
        lit[:, left : left + cols] = True
        return lit
    left, top = int(rng.integers(0, width - wide + 1)), int(rng.integers(0, height - tall + 1))
    if shape == "scattered":
        side = int(rng.integers(6, 13))
        places = [(y, x) for y in range(0, tall - side, side + 3) for x in range(0, wide - side, side + 3)]
        for number in rng.permutation(len(places))[: int(area / side**2)]:
            y, x = places[number]
            lit[top + y : top + y + side, left + x : left + x + side] = True
        return lit
    if shape == "disc":
        y, x = np.indices(lit.shape)
        radius = (area / np.pi) ** 0.5
        return (y - top - tall / 2) ** 2 + (x - left - wide / 2) ** 2 < radius**2
    if shape == "two boxes":
        side = int((area / 2) ** 0.5)
        lit[top : top + side, left : left + side] = True
        lit[top + tall - side : top + tall, left + wide - side : left + wide] = True
        return lit
    cols = min(width, int(area**0.5 * rng.uniform(0.8, 1.25)))
    rows = min(height, int(area / cols))
    if shape == "clipped":
        left, top = width - cols, int(rng.integers(0, 2)) * (height - rows)
        lit[max(0, top) : top + rows, left:] = True
        return lit
    left, top = int(rng.integers(0, width - cols + 1)), int(rng.integers(0, height - rows + 1))
    lit[top : top + rows, left : left + cols] = True
    return lit


def states(changes: list[int], pictures: int) -> list[int]:
    return [sum(c <= n for c in changes) % 2 for n in range(pictures)]


PAIRS: dict[str, tuple[Rgb, Rgb]] = {
    "black/grey 89": ((0, 0, 0), (89, 89, 89)),  # 0.0999
    "black/grey 90": ((0, 0, 0), (90, 90, 90)),  # 0.1022
    "black/grey 95": ((0, 0, 0), (95, 95, 95)),
    "black/white": ((0, 0, 0), (255, 255, 255)),
    "40/180": ((40, 40, 40), (180, 180, 180)),
    "231/255": ((231, 231, 231), (255, 255, 255)),  # the darker state is 0.7991
    "232/255": ((232, 232, 232), (255, 255, 255)),  # 0.8069
    "200/214": ((200, 200, 200), (214, 214, 214)),
    "red/grey": ((255, 0, 0), (127, 127, 127)),
    "red/black": ((200, 0, 0), (0, 0, 0)),
    "dark red/dark blue": ((90, 0, 0), (0, 0, 120)),
    "red/yellow green": ((120, 0, 0), (95, 75, 0)),
    "red near 0.2": ((110, 0, 0), (101, 52, 0)),
    "red over 0.2": ((110, 0, 0), (90, 66, 0)),
    "red ratio 0.79": ((120, 55, 20), (40, 60, 60)),
    "red ratio 0.81": ((120, 52, 20), (40, 60, 60)),
}
GROUNDS: dict[str, Rgb] = {"black": (0, 0, 0), "grey": (110, 110, 110), "white": (255, 255, 255), "blue": (0, 0, 150)}


def areas() -> Iterator[Drawn]:
    """Seven transitions, or six, of a shape on ground that is still."""
    rng = np.random.default_rng(20)
    for shape in SHAPES:
        for share in AREAS:
            for kind in ("general", "red"):
                pairs = ["40/180", "black/white"] if kind == "general" else ["red/grey", "red/black"]
                pair = PAIRS[pairs[int(rng.integers(2))]]
                ground = GROUNDS[list(GROUNDS)[int(rng.integers(4))]]
                size, field = SCREENS[int(rng.integers(len(SCREENS)))]
                often = 7 if rng.random() < 0.85 else 6
                yield film(f"{shape} {share} {kind} {often}", size, field, shape, share, pair, ground, often, 0, rng)


def flashing_grounds() -> Iterator[Drawn]:
    """Seven transitions of a shape on ground that makes six, in step with it or not, or five, or four."""
    rng = np.random.default_rng(21)
    for shape in ("box", "strip", "column", "scattered", "clipped", "disc", "moving"):
        for share in (0.235, 0.244, 0.249, 0.253, 0.256, 0.26, 0.28):
            for ground_changes in (6, 6, 5):
                size, field = SCREENS[int(rng.integers(len(SCREENS)))]
                name = f"{shape} {share} seven on {ground_changes}"
                pair = PAIRS[["40/180", "black/white", "black/grey 95"][int(rng.integers(3))]]
                yield film(name, size, field, shape, share, pair, None, 7, ground_changes, rng)


def film(name, size, field, shape, share, pair, ground, often, ground_changes, rng) -> Drawn:
    lit = mask(shape, size, field, share, rng)
    gap = int(rng.integers(2, 5)) if often == 7 else 4
    inside = list(range(2, 2 + gap * often, gap))
    pictures = inside[-1] + 4
    shift = int(rng.integers(0, 2))
    outside = [n + shift for n in inside[:ground_changes]]
    on, off = states(inside, pictures), states(outside, pictures)
    other = tuple(tuple(min(255, int(0.9 * v) + 6) for v in c) for c in pair) if rng.random() < 0.5 else pair

    def picture(n: int) -> np.ndarray:
        rgb = np.empty((*lit.shape, 3), np.uint8)
        rgb[:] = ground if ground is not None else other[off[n]]
        moved = np.roll(lit, n, axis=1) if shape == "moving" else lit
        rgb[moved] = pair[on[n]]
        return rgb

    return Drawn(name, size, field, tuple(n / 30 for n in range(pictures)), picture)


def thresholds() -> Iterator[Drawn]:
    """Pairs on both sides of each threshold, over a large part of the screen, at several rates."""
    rng = np.random.default_rng(22)
    for name, pair in PAIRS.items():
        for fps, every in ((30, 4), (30, 5), (24, 3), (60, 8), (60, 9)):
            size, field = SCREENS[int(rng.integers(len(SCREENS)))]
            if min(size) < 150 or field[0] > size[0] * 1.5:
                size, field = SCREENS[0]
            lit = mask("box", size, field, 0.4, rng)
            changes = list(range(every, 2 * fps, every))[:8]
            on = states(changes, changes[-1] + 3)

            def picture(n: int, lit=lit, pair=pair, on=on) -> np.ndarray:
                rgb = np.full((*lit.shape, 3), 20, np.uint8)
                rgb[lit] = pair[on[n]]
                return rgb

            times = tuple(n / fps for n in range(len(on)))
            yield Drawn(f"{name} each {every} at {fps}", size, field, times, picture)


def in_turn() -> Iterator[Drawn]:
    """Two areas side by side that flash in turn: three flashes each, first one and then the other, or alternately."""
    for share in (0.24, 0.25, 0.26, 0.3):
        for alternate in (False, True):
            for size, field in (SCREENS[0], SCREENS[2]):
                cols = round(share * field[0])
                first = [2 + 2 * n for n in range(6)]
                both = [first, [n + 12 for n in first]]
                if alternate:
                    both = [[n for k in range(3) for n in (2 + 8 * k + 4 * s, 4 + 8 * k + 4 * s)] for s in (0, 1)]
                on = [states(changes, 28) for changes in both]

                def picture(n: int, size=size, cols=cols, on=on) -> np.ndarray:
                    rgb = np.zeros((size[1], size[0], 3), np.uint8)
                    for side in (0, 1):
                        rgb[:, 3 + side * (cols + 5) : 3 + side * (cols + 5) + cols] = 220 * on[side][n]
                    return rgb

                name = f"two areas of {share} {'alternately' if alternate else 'one after the other'}"
                yield Drawn(f"{name} {size}", size, field, tuple(n / 30 for n in range(28)), picture)


def stripes() -> Iterator[Drawn]:
    """Stripes in step, from 0.1 degree on, whose step is small: cells dilute it."""
    for size, field in (SCREENS[0], SCREENS[3]):
        for wide in (4, 5, 7):
            for gap, low, high in ((4, 60, 106), (4, 0, 105), (8, 60, 112), (16, 0, 200), (13, 0, 200), (11, 0, 120)):

                def picture(n: int, size=size, wide=wide, gap=gap, low=low, high=high) -> np.ndarray:
                    rgb = np.full((size[1], size[0], 3), low, np.uint8)
                    if n // 2 % 2:
                        rgb[:, np.arange(size[0]) % (wide + gap) < wide] = high
                    return rgb

                name = f"stripes {wide} and {gap} {low}/{high} {size}"
                yield Drawn(name, size, field, tuple(n / 30 for n in range(20)), picture)


def fades() -> Iterator[Drawn]:
    """A box that fades in and out on ground that is still."""
    rng = np.random.default_rng(23)
    for period in (7, 8, 9, 12):
        for share in (0.24, 0.249, 0.253, 0.26):
            for high in (100, 220):
                size, field = SCREENS[int(rng.integers(4))]
                lit = mask("box", size, field, share, rng)

                def picture(n: int, lit=lit, period=period, high=high) -> np.ndarray:
                    rgb = np.full((*lit.shape, 3), 15, np.uint8)
                    rgb[lit] = round(high * (0.5 - 0.5 * np.cos(2 * np.pi * n / period)))
                    return rgb

                times = tuple(n / 30 for n in range(40))
                yield Drawn(f"fade over {period} of {share} to {high}", size, field, times, picture)


def red_pairs() -> Iterator[Drawn]:
    """Boxes that go from red to another colour and back to one that is less red, alternately."""
    rng = np.random.default_rng(24)
    red, pink, blue, grey = (200, 0, 0), (200, 94, 94), (0, 0, 90), (110, 110, 110)
    for cycle in ([red, blue, pink, blue], [pink, blue], [red, blue, pink], [red, grey, pink, blue], [red, pink]):
        for share in (0.2, 0.26, 0.4):
            for hold in (2, 4):
                size, field = SCREENS[int(rng.integers(4))]
                lit = mask("box", size, field, share, rng)

                def picture(n: int, lit=lit, cycle=cycle, hold=hold) -> np.ndarray:
                    rgb = np.full((*lit.shape, 3), 60, np.uint8)
                    rgb[lit] = cycle[n // hold % len(cycle)]
                    return rgb

                names = "/".join(map(str, cycle))
                yield Drawn(f"{names} held {hold} {share}", size, field, tuple(n / 30 for n in range(34)), picture)


def all_films() -> list[Drawn]:
    return [f for make in (areas, flashing_grounds, thresholds, in_turn, stripes, fades, red_pairs) for f in make()]
