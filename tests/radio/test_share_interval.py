"""The share of starts as an interval, against scipy's bootstrap and scipy's exact binomial interval."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from keyturn.radio.share_interval import measured_share


@pytest.mark.parametrize(("finished", "starts"), [(19, 20), (1, 2), (3, 7), (11, 12), (30, 50), (2, 50)])
def test_it_is_the_percentile_interval_of_scipy_s_bootstrap(finished: int, starts: int) -> None:
    boots = [20.0] * finished + [10.0] * (starts - finished)
    share = measured_share(boots, 15.0)
    assert share is not None and (share.finished, share.starts) == (finished, starts)
    reference = stats.bootstrap(
        (np.asarray(boots) >= 15.0,), np.mean, method="percentile", n_resamples=20_000, rng=np.random.default_rng(16)
    ).confidence_interval
    assert (share.low, share.high) == pytest.approx((reference.low, reference.high), abs=1e-9)


@pytest.mark.parametrize("starts", [2, 5, 20, 50])
@pytest.mark.parametrize("all_last", [True, False])
def test_starts_that_all_do_alike_are_not_taken_for_certainty(starts: int, all_last: bool) -> None:
    """scipy's exact interval is that of Clopper and Pearson; the bootstrap alone would say 100 % to 100 %."""
    share = measured_share([18.0] * starts, 17.0 if all_last else 19.0)
    exact = stats.binomtest(starts * all_last, starts).proportion_ci(confidence_level=0.95, method="exact")
    assert share is not None
    assert (share.low, share.high) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_a_start_of_exactly_so_long_finishes_and_without_starts_there_is_no_interval() -> None:
    share = measured_share([16.0, 17.0, 18.0], 17.0)
    assert share is not None and share.finished == 2
    assert measured_share([], 17.0) is None


def test_it_is_the_same_each_time() -> None:
    assert measured_share([16.0, 17.0, 18.0], 17.0) == measured_share([16.0, 17.0, 18.0], 17.0)
