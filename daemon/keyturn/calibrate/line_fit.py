"""A straight line through times that a film tells, such that a few wrong ones do not matter.

The slope is the median of the slopes of all pairs (H. Theil 1950; P. K. Sen, Journal of the American Statistical
Association 63, 1968), where only pairs of one run count: R. Hirsch, J. Slack and R. Smith, Water Resources Research 18,
1982, the seasonal Kendall slope. Up to 29 % of the times may be wrong. Its error comes from Kendall's statistic (Sen).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MOST_POINTS = 1500
"""Of more points than this every second, third and so on is taken: pairs take memory, 18 MB for so many."""

FEWEST_POINTS = 3
TWO_SIGMA = 1.959963984540054
"""Of the normal distribution, 95 % lie within so many standard deviations."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """`slope` in seconds for each step, its standard error, and how far the times scatter about the line (s)."""

    slope: float
    error: float
    scatter: float
    points: int


def median_slope(runs: Sequence[tuple[Sequence[float], Sequence[float]]]) -> Line | None:
    """Return the line through runs of (places, times in s): one slope, each run with its own height.

    Return None where no run has `FEWEST_POINTS` points.
    """
    kept = [_thinned(places, times) for places, times in runs if len(places) >= FEWEST_POINTS]
    if not kept:
        return None
    slopes = np.sort(np.concatenate([_pair_slopes(places, times) for places, times in kept]))
    slope = float(np.median(slopes))
    rests = np.concatenate([_about_median(times - slope * places) for places, times in kept])
    scatter = 1.4826 * float(np.median(np.abs(rests)))  # that of a normal distribution with this median deviation
    return Line(slope, _error(slopes, kept), scatter, sum(len(places) for places, _ in kept))


def height(places: Sequence[float], times: Sequence[float], slope: float) -> float:
    """Return the time (s) at place 0 of the line of this slope: the median of all that the points say."""
    return float(np.median(np.asarray(times, float) - slope * np.asarray(places, float)))


def _thinned(places: Sequence[float], times: Sequence[float]) -> tuple[Floats, Floats]:
    step = -(-len(places) // MOST_POINTS)
    return np.asarray(places, float)[::step], np.asarray(times, float)[::step]


def _pair_slopes(places: Floats, times: Floats) -> Floats:
    first, second = np.triu_indices(len(places), 1)
    across = places[second] - places[first]
    apart = across != 0
    return np.asarray((times[second] - times[first])[apart] / across[apart], float)


def _about_median(values: Floats) -> Floats:
    return np.asarray(values - np.median(values), float)


def _error(slopes: Floats, runs: Sequence[tuple[Floats, Floats]]) -> float:
    """Return the slope's standard error: a fourth of its interval of 95 %, whose ends are slopes of pairs."""
    variance = sum(n * (n - 1) * (2 * n + 5) / 18 for n in (len(places) for places, _ in runs))
    reach = TWO_SIGMA * math.sqrt(variance)
    most = len(slopes)
    low, high = round((most - reach) / 2), round((most + reach) / 2)
    low, high = max(0, low - 1), min(most - 1, high)
    return float(slopes[high] - slopes[low]) / (2 * TWO_SIGMA)
