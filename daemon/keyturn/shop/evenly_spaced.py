"""Which of many are shown or looked at, where all would be too many."""

from __future__ import annotations

import random
from collections.abc import Iterator


def evenly_spaced(count: int, most: int) -> tuple[int, ...]:
    """Return the indices of at most `most` of `count` things, the first and the last among them.

    All are returned where they are no more than `most`; one alone is the first. Between two indices lies the same
    number of things, give or take one. Halves are rounded to the even index.
    """
    if count <= most:
        return tuple(range(count))
    if most < 2:
        return tuple(range(most))
    return tuple(round(i * (count - 1) / (most - 1)) for i in range(most))


def spread_by_chance(count: int, each: int, rounds: int) -> Iterator[tuple[int, ...]]:
    """Yield for each round `each` indices of `count` things in rising order, one by chance from each equal stretch.

    None comes twice. What recurs at even distances, or lies in one stretch, cannot be missed as it could by indices at
    even distances. The same arguments give the same indices. A stretch must hold at least `rounds` things.
    """
    chance = random.Random(count)
    stretches = [list(range(count * i // each, count * (i + 1) // each)) for i in range(each)]
    for stretch in stretches:
        chance.shuffle(stretch)
    for turn in range(rounds):
        yield tuple(stretch[turn] for stretch in stretches)
