"""Lines through brackets: against scipy's linear programming and Theil-Sen estimator, and against known lines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from keyturn.calibrate.line_fit import Bracketed, Floats, at_place, fitted, median_slope

FILM_S = 1 / 30


def bracketed(places: Floats, times: Floats, seed: int = 0) -> Bracketed:
    """Return the moments as a film at 30 a second shows them: each between two of its frames."""
    after = (np.floor((times - 0.001 * seed) / FILM_S)) * FILM_S + 0.001 * seed
    return Bracketed(places.tolist(), after.tolist(), (after + FILM_S).tolist())


@pytest.mark.parametrize("seed", range(5))
def test_the_range_of_slopes_is_that_of_linear_programming(seed: int) -> None:
    """scipy.optimize.linprog: the least and the largest slope of a line through all brackets."""
    places = np.arange(12.0)
    run = bracketed(places, 3.0 + (0.1003 + 0.004 * seed) * places, seed)
    line = fitted([run])
    assert line is not None and line.widened_s == 0
    column, one = places[:, None], np.ones((12, 1))
    rows = np.block([[column, one], [-column, -one]])
    ends = [*run.by, *(-np.array(run.after))]
    low, high = (
        optimize.linprog([sign, 0], A_ub=rows, b_ub=ends, bounds=[(None, None)] * 2).x[0] for sign in (1.0, -1.0)
    )
    assert (line.low, line.high) == pytest.approx((low, high), abs=1e-7)
    assert line.low <= 0.1003 + 0.004 * seed <= line.high


@pytest.mark.parametrize("seed", range(5))
def test_the_median_slope_and_its_error_are_those_of_scipy_s_theilslopes(seed: int) -> None:
    dice = np.random.default_rng(seed)
    places = np.arange(40.0)
    times = 3.0 + 0.1 * places + dice.normal(0, 0.01, 40)
    slope, error = median_slope([(places, times)])
    reference = stats.theilslopes(times, places, alpha=0.95)
    assert slope == pytest.approx(reference.slope, rel=1e-9)
    assert error == pytest.approx((reference.high_slope - reference.low_slope) / (2 * 1.959964), rel=0.02)


def test_a_quarter_of_wrong_moments_does_not_matter() -> None:
    dice = np.random.default_rng(1)
    places = np.arange(100.0)
    times = 0.1 * places
    times[dice.choice(100, 25, replace=False)] += 5.0
    line = fitted([bracketed(places, times)])
    assert line is not None and line.widened_s is None
    assert line.slope == pytest.approx(0.1, rel=0.01)
    assert line.scatter_s < 0.02


def test_runs_have_one_slope_and_heights_of_their_own() -> None:
    """A radio that stops once for half a second: the step is in no run, so the slope does not see it."""
    places = np.arange(30.0)
    first = bracketed(places, 0.1037 * places)
    second = bracketed(places + 30, 0.1037 * (places + 30) + 0.5)
    line = fitted([first, second])
    assert line is not None
    assert line.slope == pytest.approx(0.1037, rel=0.01)
    assert at_place(second, line, 30).low - 1e-9 <= 0.1037 * 30 + 0.5 <= at_place(second, line, 30).high + 1e-9


def test_a_jitter_of_a_millisecond_widens_the_brackets_a_little() -> None:
    dice = np.random.default_rng(2)
    places = np.arange(150.0)
    line = fitted([bracketed(places, 0.118 * places + dice.normal(0, 0.001, 150))])
    assert line is not None and line.widened_s is not None
    assert 0 < line.widened_s < 0.01
    assert line.slope == pytest.approx(0.118, rel=0.002)


def test_two_moments_are_no_line() -> None:
    assert fitted([Bracketed([0.0, 1.0], [0.0, 0.1], [0.03, 0.13])]) is None
    assert fitted([]) is None


def test_many_moments_are_thinned() -> None:
    places = np.arange(4000.0)
    line = fitted([bracketed(places, 0.04 * places)])
    assert line is not None
    assert line.slope == pytest.approx(0.04, rel=1e-3)
    assert line.points <= 1500
