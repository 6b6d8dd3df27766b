"""Which of many are shown or looked at, where all would be too many."""

from __future__ import annotations


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
