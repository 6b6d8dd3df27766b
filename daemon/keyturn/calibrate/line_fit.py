"""Straight lines through moments that a film tells only between two of its frames.

A line that passes through every bracket gives the range of slopes that are possible at all: between the largest of
(after_j - by_i) / (j - i) and the least of (by_j - after_i) / (j - i) over all pairs (textbook: a line that stabs
vertical segments). Its middle is the slope. Where a moment is off by a little, all brackets are widened until a line
passes; where that does not help, moments are wrong, and the slope is the median of the slopes of all pairs (H. Theil
1950; P. K. Sen, Journal of the American Statistical Association 63, 1968), with pairs of one run only (R. Hirsch, J.
Slack and R. Smith, Water Resources Research 18, 1982). Up to 29 % of the moments may then be wrong.
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

WIDENINGS = (0.0, 0.03, 0.06, 0.12, 0.25)
"""Brackets are widened to both sides by these shares of a usual bracket. Keyturn's own choice."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bracketed:
    """Moments in s: the one of `places[i]` lies after `after[i]` and at `by[i]` at the latest."""

    places: Sequence[float]
    after: Sequence[float]
    by: Sequence[float]


@dataclass(frozen=True, slots=True)
class Line:
    """`slope` in seconds for each place, its standard error, and the range in which it lies.

    `widened_s` is by how much the brackets had to be widened, None where wrong moments are among them. `scatter_s` is
    how far the brackets' middles lie from the line, as a standard deviation that a few wrong ones do not move.
    """

    slope: float
    error: float
    low: float
    high: float
    widened_s: float | None
    scatter_s: float
    points: int


@dataclass(frozen=True, slots=True)
class Reach:
    """A time in s that lies between `low` and `high`."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        return (self.low + self.high) / 2

    @property
    def width(self) -> float:
        return self.high - self.low


def fitted(runs: Sequence[Bracketed]) -> Line | None:
    """Return the line through the runs: one slope, each run with its own height.

    Return None where no run has `FEWEST_POINTS` moments.
    """
    kept = [_thinned(run) for run in runs if len(run.places) >= FEWEST_POINTS]
    if not kept:
        return None
    middles = [(places, (after + by) / 2) for places, after, by in kept]
    points = sum(len(places) for places, _ in middles)
    usual = float(np.median(np.concatenate([by - after for _, after, by in kept])))
    for share in WIDENINGS:
        low, high = _slope_range(kept, share * usual)
        if low <= high:
            slope = (low + high) / 2
            error = (high - low) / math.sqrt(12)  # all slopes of the range are equally likely
            return Line(slope, error, low, high, share * usual, _scatter(middles, slope), points)
    slope, error = median_slope(middles)
    reach = TWO_SIGMA * error
    return Line(slope, error, slope - reach, slope + reach, None, _scatter(middles, slope), points)


def median_slope(runs: Sequence[tuple[Floats, Floats]]) -> tuple[float, float]:
    """Return the median of the slopes of all pairs of one run, and its standard error: a fourth of its interval of
    95 %, whose ends are slopes of pairs too (Sen, by Kendall's statistic)."""
    slopes = np.sort(np.concatenate([_pair_slopes(places, times) for places, times in runs]))
    variance = sum(n * (n - 1) * (2 * n + 5) / 18 for n in (len(places) for places, _ in runs))
    reach = TWO_SIGMA * math.sqrt(variance)
    most = len(slopes)
    low, high = max(0, round((most - reach) / 2) - 1), min(most - 1, round((most + reach) / 2))
    return float(np.median(slopes)), float(slopes[high] - slopes[low]) / (2 * TWO_SIGMA)


def at_place(run: Bracketed, line: Line, place: float) -> Reach:
    """Return when the line through the run passes `place`, in s."""
    places, after, by = _thinned(run)
    ends = []
    for slope in (line.low, line.slope, line.high):
        heights = after - slope * places, by - slope * places
        low, high = float(heights[0].max()), float(heights[1].min())
        if line.widened_s is None or low > high:  # moments that contradict each other: what most of them say
            low = high = float(np.median((heights[0] + heights[1]) / 2))
            half = float(np.median(by - after)) / 2
            low, high = low - half, high + half
        ends += [low + slope * place, high + slope * place]
    return Reach(min(ends), max(ends))


def _thinned(run: Bracketed) -> tuple[Floats, Floats, Floats]:
    step = -(-len(run.places) // MOST_POINTS)
    places, after, by = (np.asarray(each, float)[::step] for each in (run.places, run.after, run.by))
    return places, after, by


def _slope_range(runs: Sequence[tuple[Floats, Floats, Floats]], wider: float) -> tuple[float, float]:
    """Return the least and the largest slope of a line through all brackets, each `wider` s on both sides."""
    low, high = -math.inf, math.inf
    for places, after, by in runs:
        first, second = np.triu_indices(len(places), 1)
        across = places[second] - places[first]
        low = max(low, float(((after[second] - by[first] - 2 * wider) / across).max()))
        high = min(high, float(((by[second] - after[first] + 2 * wider) / across).min()))
    return low, high


def _pair_slopes(places: Floats, times: Floats) -> Floats:
    first, second = np.triu_indices(len(places), 1)
    return np.asarray((times[second] - times[first]) / (places[second] - places[first]), float)


def _scatter(middles: Sequence[tuple[Floats, Floats]], slope: float) -> float:
    rests = [times - slope * places for places, times in middles]
    off = np.concatenate([rest - np.median(rest) for rest in rests])
    return 1.4826 * float(np.median(np.abs(off)))  # that of a normal distribution with this median deviation
