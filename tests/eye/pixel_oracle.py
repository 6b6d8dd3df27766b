"""The flash check again, slow and per pixel, written from the text of WCAG 2.2 (2.3.1) and apart from the package.

Every pixel's history is walked picture by picture; every position of the field is tried pixel by pixel. Pixels with
equal histories are walked once. The two readings of 'concurrently' are those that `keyturn.eye.flash` states.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from eye import slow_reference as slow

FAILING = 7
"""Technique G19: seven transitions within a second are more than three flashes."""

EPS = 1e-9


class Film:
    """Pictures (H, W, 3) as codes, the seconds at which they appear, and the field's width and height in pixels."""

    def __init__(self, pictures: list[np.ndarray], times: list[float], field: tuple[float, float]) -> None:
        self.times, self.field = times, field
        self.size = pictures[0].shape[:2]
        key = np.zeros(self.size, np.uint64)
        for rgb in pictures:
            code = rgb[..., 0].astype(np.uint64) << 16 | rgb[..., 1].astype(np.uint64) << 8 | rgb[..., 2]
            key = key * np.uint64(1_000_003) + code + np.uint64(17)
        _, place, which = np.unique(key, return_index=True, return_inverse=True)
        self.which = which.reshape(self.size)
        where = [divmod(int(p), self.size[1]) for p in place]
        self.histories = [[tuple(map(int, rgb[r, c])) for rgb in pictures] for r, c in where]


@cache
def _general(old: slow.Pixel, new: slow.Pixel) -> int:
    return slow.general_change(old, new)


def verdict(film: Film) -> tuple[bool, float]:
    """Tell whether the film passes, and the largest share of a field that flashed too often at one time."""
    general = [slow.transitions(history, _general) for history in film.histories]
    made = [general, [slow.red_transitions(history) for history in film.histories]]
    passes, largest = True, 0.0
    for now in range(len(film.times)):
        shares = [largest_share(film, [often(each, now, film.times) for each in kind]) for kind in made]
        both = [often(a, now, film.times) or often(b, now, film.times) for a, b in zip(*made, strict=True)]
        shares.append(largest_share(film, both))
        largest = max(largest, *shares)
    passes = largest <= 0.25 + EPS and not any(by_moment(film, kind) for kind in made)
    return passes, largest


def in_window(pictures, now: int, times: list[float]) -> int:
    return sum(1 for n in pictures if n <= now and times[n] > times[now] - 1 + EPS)


def often(made: dict[int, int], now: int, times: list[float]) -> bool:
    """By place: seven transitions in the second that ends now, the last of them no older than a third of it."""
    if in_window(made, now, times) < FAILING:
        return False
    return max(times[n] for n in made if n <= now) > times[now] - 1 / 3 - EPS


def by_moment(film: Film, made: list[dict[int, int]]) -> bool:
    """By moment: seven times in a second, more than a quarter of one field rises, or falls, in turn."""
    rows, cols = positions(film)
    direction = np.zeros((rows, cols), int)
    moments: list[tuple[int, np.ndarray]] = []
    for now in range(len(film.times)):
        turned = np.zeros((rows, cols), bool)
        for way in (1, -1):
            sides = [each.get(now) == way for each in made]
            if any(sides):
                large = (shares_of(film, sides) > 0.25 + EPS) & (direction != way) & ~turned
                direction[large] = way
                turned |= large
        moments.append((now, turned))
        count = sum(t.astype(int) for n, t in moments if film.times[n] > film.times[now] - 1 + EPS)
        if np.max(count) >= FAILING:
            return True
    return False


def positions(film: Film) -> tuple[int, int]:
    tall, wide = math.ceil(film.field[1] - EPS), math.ceil(film.field[0] - EPS)
    return max(1, film.size[0] - tall + 1), max(1, film.size[1] - wide + 1)


def largest_share(film: Film, flashing: list[bool]) -> float:
    return float(shares_of(film, flashing).max()) if any(flashing) else 0.0


def shares_of(film: Film, flashing: list[bool]) -> np.ndarray:
    """The share that the flashing pixels cover of the field at each whole pixel, begun there or ended there."""
    lit = np.array(flashing)[film.which].astype(float)
    down = _slid(lit, film.field[1])
    across = [side.T for each in down for side in _slid(each.T, film.field[0])]
    return np.max(across, axis=0) / (film.field[0] * film.field[1])


def _slid(lit: np.ndarray, length: float) -> list[np.ndarray]:
    """Sums of `length` rows, a fraction of a row at the end, or at the beginning."""
    whole, part = int(length + EPS), length % 1 if length % 1 > EPS else 0.0
    if whole + (part > 0) >= len(lit) + (part > 0):
        return [lit.sum(axis=0, keepdims=True)]
    rows = np.vstack([np.zeros((1, lit.shape[1])), np.cumsum(lit, axis=0)])
    count = len(lit) - whole - (part > 0) + 1
    sums = [rows[n + whole] - rows[n] for n in range(count)]
    if not part:
        return [np.array(sums)]
    late = [rows[n + 1 + whole] - rows[n + 1] for n in range(count)]
    return [
        np.array([s + part * lit[n + whole] for n, s in enumerate(sums)]),
        np.array([s + part * lit[n] for n, s in enumerate(late)]),
    ]
