"""Boot times against numpy's quantiles and scipy's triangular distribution."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import triang

from keyturn.radio.boot import BootModel
from keyturn.shop import rulebook
from samples import examples

TIMES = st.floats(0.1, 600)
SHARES = st.floats(0, 1)


@settings(max_examples=examples(500), deadline=None)
@given(st.lists(TIMES, min_size=2, max_size=40), SHARES)
def test_quantiles_of_samples_are_numpy_s(samples: list[float], q: float) -> None:
    boot = BootModel.of(samples, 1, 2, 3)
    assert boot.quantile(q) == pytest.approx(float(np.quantile(samples, q)), rel=1e-12)
    assert boot.spread == pytest.approx((min(samples), float(np.median(samples)), max(samples)))


@settings(max_examples=examples(500), deadline=None)
@given(st.lists(st.sampled_from([15.0, 16.0, 16.5, 17.0]) | TIMES, min_size=2, max_size=40), st.data())
def test_the_share_of_samples_counts_boots_that_last_at_least_so_long(
    samples: list[float], data: st.DataObject
) -> None:
    seconds = data.draw(TIMES | st.sampled_from(samples))
    share = BootModel.of(samples, 1, 2, 3).share_finished(seconds)
    assert share == pytest.approx(float(np.mean(np.array(samples) >= seconds)))


@settings(max_examples=examples(500), deadline=None)
@given(TIMES, TIMES, TIMES, SHARES, TIMES)
def test_without_samples_the_boot_is_scipy_s_triangular(a: float, b: float, c: float, q: float, x: float) -> None:
    shortest, usual, longest = sorted((a, b, c))
    assume(longest - shortest > 1e-3)
    boot = BootModel.of([], shortest, usual, longest)
    width = longest - shortest
    reference = triang((usual - shortest) / width, loc=shortest, scale=width)
    assert boot.quantile(q) == pytest.approx(float(reference.ppf(q)), rel=1e-9, abs=1e-6)
    for seconds in (x, shortest, usual, longest):
        assert boot.share_finished(seconds) == pytest.approx(float(reference.sf(seconds)), abs=1e-9)
    assert boot.spread == (shortest, usual, longest)


def test_a_radio_that_always_boots_alike_is_a_step() -> None:
    boot = BootModel.of([], 18, 18, 18)
    assert [boot.share_finished(s) for s in (17.9, 18, 18.1)] == [1.0, 1.0, 0.0]
    assert {boot.quantile(q) for q in (0, 0.3, 1)} == {18}


def test_one_sample_is_not_taken_for_a_distribution() -> None:
    assert BootModel.of([30.0], 16, 19, 21).spread == (16, 19, 21)


def test_measured_starts_go_before_the_profile_s_figures() -> None:
    radio = rulebook.load().radios["tall-768x1024"]
    measured = radio.model_copy(update={"boot": radio.boot.model_copy(update={"samples": (17.0, 18.0, 20.0)})})
    assert BootModel.of_radio(radio).spread == (radio.boot.shortest, radio.boot.usual, radio.boot.longest)
    assert BootModel.of_radio(measured).spread == (17.0, 18.0, 20.0)
    assert BootModel.of_radio(measured).quantile(0.25) == pytest.approx(17.5)


@pytest.mark.parametrize("name", sorted(rulebook.load().radios))
def test_the_radios_that_ship_vary_by_1_to_5_seconds_around_the_usual(name: str) -> None:
    # boot times of one radio vary by 1 to 5 s from start to start: common practice, no source
    boot = BootModel.of_radio(rulebook.load().radios[name])
    shortest, usual, longest = boot.spread
    assert 1 <= usual - shortest <= 5 and 1 <= longest - usual <= 5


@pytest.mark.parametrize("figures", [(20, 19, 21), (16, 22, 21), (16, 19, float("nan")), (-1, 19, 21)])
def test_figures_that_cannot_be_are_errors(figures: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="must"):
        BootModel.of([], *figures)
    with pytest.raises(ValueError, match="between 0 and 1"):
        BootModel.of([], 1, 2, 3).quantile(1.1)


def test_a_watch_counts_only_with_enough_other_starts() -> None:
    radio = rulebook.load().radios["tall-768x1024"]
    for told, counted in (((1.0,) * 4, False), ((18.0, 18.5, 19.0, 18.2, 18.3), True)):
        boot = radio.boot.model_copy(update={"told": told})
        model = BootModel.of_radio(radio.model_copy(update={"boot": boot}))
        assert bool(model.samples) == counted
