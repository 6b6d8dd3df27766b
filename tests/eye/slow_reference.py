"""The flash check again, by brute force over plain lists: slow, for tiny pictures, written apart from the package.

Every pair of pictures is looked at, every field is walked pixel by pixel, and one pixel is one cell.
"""

from __future__ import annotations

import math

Pixel = tuple[int, int, int]
Picture = list[list[Pixel]]

FAILING = 7
EPS = 1e-9


def light(code: int) -> float:
    c = code / 255
    return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4


def luminance(pixel: Pixel) -> float:
    r, g, b = map(light, pixel)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def is_red(pixel: Pixel) -> bool:
    r, g, b = map(light, pixel)
    return r + g + b > 0 and r / (r + g + b) >= 0.8


def uv(pixel: Pixel) -> tuple[float, float]:
    r, g, b = map(light, pixel)
    x = 0.4124 * r + 0.3576 * g + 0.1805 * b
    y = luminance(pixel)
    z = 0.0193 * r + 0.1192 * g + 0.9505 * b
    whole = x + 15 * y + 3 * z
    return (4 * x / whole, 9 * y / whole) if whole else (0.0, 0.0)


def general_change(old: Pixel, new: Pixel) -> int:
    """Return +1 for a rise, -1 for a fall, 0 for neither."""
    a, b = luminance(old), luminance(new)
    if abs(a - b) < 0.10 or min(a, b) >= 0.80:
        return 0
    return 1 if b > a else -1


def red_change(old: Pixel, new: Pixel) -> int:
    """Return +1 for a change to a saturated red, -1 for one away, 0 for neither."""
    if is_red(old) == is_red(new) or math.dist(uv(old), uv(new)) <= 0.2:
        return 0
    return 1 if is_red(new) else -1


def transitions(states: list[Pixel], change) -> dict[int, int]:
    """Return the direction of each transition by the number of its picture.

    It is the earliest picture that differs by a whole change from any picture since the last transition.
    """
    found: dict[int, int] = {}
    start, last = 0, 0
    for now in range(len(states)):
        ways = {change(states[then], states[now]) for then in range(start, now)} - {0, last}
        if ways:
            last = ways.pop()
            found[now] = last
            start = now
    return found


def red_transitions(states: list[Pixel]) -> dict[int, int]:
    """Return the direction of each transition that can belong to a red flash, by the number of its picture.

    WCAG 2.2: "a pair of opposing transitions where, one transition is either to or from" a saturated red.
    """
    found: dict[int, int] = {}
    start, last, left_red, short = 0, 0, False, False
    for now, state in enumerate(states):
        since = states[start:now]
        ways = {red_change(then, state) for then in since} - {0, last}
        if not ways and not is_red(state):
            farthest = max(since, key=from_pure_red, default=state)
            back = left_red and from_pure_red(state) < from_pure_red(farthest)
            if back and math.dist(uv(farthest), uv(state)) > 0.2:
                ways, left_red, short = {1}, False, True
            elif short and not any(map(is_red, since)) and math.dist(uv(since[0]), uv(state)) > 0.2:
                ways, short = {-1}, False
        elif ways:
            left_red, short = ways == {-1}, False
        if ways:
            last = ways.pop()
            found[now] = last
            start = now
    return found


def from_pure_red(pixel: Pixel) -> float:
    return math.dist(uv(pixel), uv((255, 0, 0)))


def fields(rows: int, cols: int, size: tuple[int, int]):
    tall, wide = min(size[0], rows), min(size[1], cols)
    for top in range(rows - tall + 1):
        for left in range(cols - wide + 1):
            yield [(r, c) for r in range(top, top + tall) for c in range(left, left + wide)]


def in_window(pictures, now: int, times: list[float]) -> int:
    return sum(1 for n in pictures if n <= now and times[n] > times[now] - 1 + EPS)


def fails(film: list[Picture], times: list[float], field: tuple[int, int], change) -> bool:
    """Tell whether more than a quarter of a field makes seven transitions in a window, by place or by moment."""
    rows, cols = len(film[0]), len(film[0][0])
    made = {(r, c): transitions([p[r][c] for p in film], change) for r in range(rows) for c in range(cols)}
    limit = 0.25 * field[0] * field[1]
    return any(
        by_place(made, inside, limit, times) or by_moment(made, inside, limit, times)
        for inside in fields(rows, cols, field)
    )


def by_place(made, inside, limit: float, times: list[float]) -> bool:
    for now, at in enumerate(times):
        flashing = [
            place
            for place in inside
            if in_window(made[place], now, times) >= FAILING
            and max(times[n] for n in made[place] if n <= now) > at - 1 / 3 - EPS
        ]
        if len(flashing) > limit:
            return True
    return False


def by_moment(made, inside, limit: float, times: list[float]) -> bool:
    moments, last = [], 0
    for now in range(len(times)):
        large = [way for way in (1, -1) if sum(made[p].get(now) == way for p in inside) > limit and way != last]
        if large:
            last = large[0]
            moments.append(now)
    return any(in_window(moments, now, times) >= FAILING for now in moments)
