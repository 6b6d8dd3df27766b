"""How sure the share of starts that last long enough is, when some starts were measured.

Efron's percentile bootstrap (B. Efron, Bootstrap methods: another look at the jackknife, Annals of Statistics 7, 1979):
the measured starts are drawn again and again with replacement, and the share is counted in each draw. Of n starts with
k that last, a draw's count is binomial (n, k / n), so all draws are summed exactly instead of some being made by
chance: the result needs no seed.

Where all measured starts last, or none does, every draw is alike and the bootstrap knows no doubt. There the exact
interval of C. Clopper and E. Pearson (Biometrika 26, 1934) is taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

CERTAINTY = 0.95
"""The share of such intervals that hold the true share. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class MeasuredShare:
    """`finished` of `starts` measured starts last long enough; `low` to `high` (0 to 1) is the share of all starts."""

    finished: int
    starts: int
    low: float
    high: float


def measured_share(samples: Sequence[float], seconds: float) -> MeasuredShare | None:
    """Return how many of the measured starts (s) last at least `seconds`; None where none was measured."""
    if not samples:
        return None
    starts, finished = len(samples), sum(sample >= seconds for sample in samples)
    low, high = _interval(finished, starts)
    return MeasuredShare(finished, starts, low, high)


def _interval(finished: int, starts: int) -> tuple[float, float]:
    tail = (1 - CERTAINTY) / 2
    if finished == starts:
        return tail ** (1 / starts), 1.0
    if finished == 0:
        return 0.0, 1 - tail ** (1 / starts)
    return _binomial_quantile(tail, starts, finished) / starts, _binomial_quantile(1 - tail, starts, finished) / starts


def _binomial_quantile(q: float, n: int, k: int) -> int:
    """Return the least count that a binomial (n, k / n) does not exceed with probability `q` or more."""
    p, below = k / n, 0.0
    for count in range(n):
        below += math.comb(n, count) * p**count * (1 - p) ** (n - count)
        if below >= q:
            return count
    return n
