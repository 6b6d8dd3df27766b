"""The line through film times, against scipy's Theil-Sen estimator and against lines that are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from keyturn.calibrate.line_fit import height, median_slope


@pytest.mark.parametrize("seed", range(6))
def test_slope_and_its_error_are_those_of_scipy_s_theilslopes(seed: int) -> None:
    dice = np.random.default_rng(seed)
    places = np.arange(40.0)
    times = 3.0 + 0.1 * places + dice.normal(0, 0.01, 40)
    line = median_slope([(places.tolist(), times.tolist())])
    reference = stats.theilslopes(times, places, alpha=0.95, method="joint")
    assert line is not None and line.points == 40
    assert line.slope == pytest.approx(reference.slope, rel=1e-9)
    width = reference.high_slope - reference.low_slope
    assert line.error == pytest.approx(width / (2 * 1.959964), rel=0.02)
    assert height(places.tolist(), times.tolist(), line.slope) == pytest.approx(reference.intercept, abs=1e-6)


def test_a_quarter_of_wrong_times_does_not_matter() -> None:
    dice = np.random.default_rng(1)
    places = np.arange(100.0)
    times = 0.1 * places + dice.normal(0, 0.003, 100)
    times[dice.choice(100, 25, replace=False)] += 5.0
    line = median_slope([(places.tolist(), times.tolist())])
    assert line is not None
    assert line.slope == pytest.approx(0.1, rel=0.01)
    assert line.scatter < 0.01


def test_runs_have_one_slope_and_heights_of_their_own() -> None:
    """A radio that stops once for half a second: the step is in no run, so the slope does not see it."""
    places = np.arange(30.0)
    first = (places.tolist(), (0.1 * places).tolist())
    second = ((places + 30).tolist(), (0.1 * (places + 30) + 0.5).tolist())
    line = median_slope([first, second])
    assert line is not None
    assert line.slope == pytest.approx(0.1, rel=1e-9)
    assert line.scatter == pytest.approx(0.0, abs=1e-9)


def test_two_points_are_no_line() -> None:
    assert median_slope([([0.0, 1.0], [0.0, 0.1])]) is None
    assert median_slope([]) is None


def test_many_points_are_thinned() -> None:
    places = np.arange(4000.0)
    line = median_slope([(places.tolist(), (0.04 * places).tolist())])
    assert line is not None
    assert line.slope == pytest.approx(0.04, rel=1e-9)
    assert line.points <= 1500
