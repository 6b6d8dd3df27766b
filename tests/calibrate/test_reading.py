"""What filmed starts show: readings, boot times, the frame interval and its cost."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration_samples import ADDITIVE, FIXED, changed
from keyturn import calibrate
from keyturn.calibrate.figures import figure
from keyturn.radio.timeline import PlayedPart, Timeline
from keyturn.renumber import planned_parts
from keyturn.shop.radio_profile import Radio
from keyturn.shop.wrong_use import WrongUse


def test_readings_are_plain_numbers() -> None:
    assert calibrate.read(["17.9", "18", "0.1"]) == (17.9, 18.0, 0.1)
    with pytest.raises(WrongUse) as caught:
        calibrate.read(["17.9", "18,4", "soon", "-3", "nan", "0", "601", "1e2"], "--filmed")
    for wrong in ("--filmed", "'18,4'", "'soon'", "'-3'", "'nan'", "'0'", "'601'", "'1e2'", "18.4"):
        assert wrong in str(caught.value)
    assert "17.9" not in caught.value.what


@pytest.mark.parametrize(
    ("typed", "understood"),
    [
        ("calibrate r --read 17.9 18.4 --filmed 22 23", "calibrate r --read 17.9 --read 18.4 --filmed 22 --filmed 23"),
        ("calibrate --read 17.9 18,4 r --fps 10", "calibrate --read 17.9 --read 18,4 r --fps 10"),
        ("calibrate r --fps 10 20", "calibrate r --fps 10 20"),
        ("calibrate r --film a.mp4 b.mov --out p.html", "calibrate r --film a.mp4 --film b.mov --out p.html"),
        ("calibrate --film a.mp4 b.MP4 r --fps 10", "calibrate --film a.mp4 --film b.MP4 r --fps 10"),
        ("make drop --out here", "make drop --out here"),
    ],
)
def test_several_readings_may_follow_one_option(typed: str, understood: str) -> None:
    assert calibrate.spread_values(typed.split()) == understood.split()


def test_a_figure_the_stick_does_not_show_is_refused() -> None:
    with pytest.raises(WrongUse, match=r"no stick of 10 fps shows 17\.93"):
        calibrate.learn(ADDITIVE, 10, [17.9, 17.93], None)


STARTS = st.lists(st.tuples(st.integers(100, 400), st.floats(-0.08, 0.08)), min_size=2, max_size=20)


@given(STARTS, st.floats(0.1, 0.3))
@settings(deadline=None)
def test_the_interval_is_the_least_squares_slope_of_numpy(starts: list[tuple[int, float]], true_s: float) -> None:
    frames = np.array([n for n, _ in starts], float)
    filmed = frames * true_s + np.array([e for _, e in starts])
    interval = calibrate.learn(ADDITIVE, 10, [n / 10 for n, _ in starts], filmed.tolist()).interval
    assert interval is not None
    (slope,), residual, _, _ = np.linalg.lstsq(frames[:, None], filmed, rcond=None)
    assert interval.seconds == pytest.approx(slope, rel=1e-9)
    variance = float(residual.sum()) / (len(frames) - 1)
    assert interval.scatter_s == pytest.approx(math.sqrt(variance), rel=1e-6, abs=1e-9)
    if interval.scatter_s > 1 / 30:  # ordinary least squares: variance x (A'A)^-1; a film shows no more than 1/30 s
        assert interval.error_s == pytest.approx(math.sqrt(variance * np.linalg.inv([[frames @ frames]])[0, 0]))


@given(
    st.sampled_from([ADDITIVE, FIXED]),
    st.integers(2, 30),
    st.integers(1, 300),
    st.lists(st.floats(8, 30), min_size=1, max_size=5),
)
@settings(deadline=None, max_examples=60)
def test_what_a_radio_does_is_found_from_its_film(radio: Radio, fps: int, cost_ms: int, boots: list[float]) -> None:
    """The radio is played by `radio.timeline`: the profile does not know its true cost, and the film shows it."""
    true = planned_parts.pacing(with_cost(radio, cost_ms), fps)
    shows = [Timeline((PlayedPart("p", 1, 0, 2000), PlayedPart("p", 0, 0, 1)), true, boot) for boot in boots]
    last = [max(s.frame for s in show.shown() if s.part == 0) + 1 for show in shows]
    learnt = calibrate.learn(radio, fps, [float(figure(n, fps)) for n in last], [show.end_s for show in shows])
    assert learnt.boot_s == pytest.approx([show.end_s for show in shows], abs=1e-3)
    rounding = 0.5e-3  # boots are kept in whole milliseconds
    late = [seen - boot for seen, boot in zip(learnt.boot_s, boots, strict=True)]
    assert all(-rounding <= by <= true.interval_s + rounding for by in late)
    assert learnt.interval is not None
    # where in the last figure's interval the home screen came is not known: an interval of all that passed
    unknown = 1 / min(last) * true.interval_s + 1e-6
    assert learnt.interval.seconds == pytest.approx(true.interval_s, abs=unknown)
    assert learnt.interval.scatter_s <= true.interval_s
    stored = with_cost(radio, learnt.cost_ms)
    assert planned_parts.pacing(stored, fps).interval_s == pytest.approx(
        true.interval_s, abs=4 * learnt.interval.error_s + unknown
    )
    if radio is ADDITIVE:
        assert learnt.cost_ms == pytest.approx(cost_ms, abs=0.01 + 1000 * unknown)


def with_cost(radio: Radio, cost_ms: float | None) -> Radio:
    if cost_ms is None:
        return radio
    return changed(radio, "limits", decode_ms_per_mpx=0.0, draw_ms=cost_ms)


def test_a_beat_that_is_kept_tells_no_cost_but_bounds_it() -> None:
    filmed = [18.0, 18.5]
    assert calibrate.learn(FIXED, 10, filmed, filmed).cost_ms is None
    slow = changed(FIXED, "limits", draw_ms=300.0)
    assert calibrate.learn(slow, 10, filmed, filmed).cost_ms == 100.0
    told = " ".join(calibrate.describe(calibrate.learn(FIXED, 10, filmed, filmed)))
    assert "beat of 10 fps is kept" in told


def test_without_a_film_boots_are_frames_times_the_profile_s_interval() -> None:
    learnt = calibrate.learn(ADDITIVE, 10, [17.9, 18.4], None)
    each = 1 / 10 + (18 * 768 * 1024 / 1e6 + 4) / 1000  # the profile's own figures: additive
    assert learnt.boot_s == pytest.approx([179 * each, 184 * each], abs=1e-3)
    assert (learnt.interval, learnt.cost_ms) == (None, None)
    assert "assumed, not measured" in " ".join(calibrate.describe(learnt))


@pytest.mark.parametrize(
    ("shown", "filmed", "told"),
    [
        ([17.9, 18.4], [17.0, 23.0], "179 frames in 17 s"),
        ([17.9, 18.4], [22.0], "2 figures were read and 1 starts filmed"),
        ([17.9], [400.0], "would take"),
        ([0.1], [0.02], "less than 0.1 s"),
    ],
)
def test_a_film_that_cannot_be_is_refused(shown: list[float], filmed: list[float], told: str) -> None:
    with pytest.raises(WrongUse, match=told):
        calibrate.learn(ADDITIVE, 10, shown, filmed)
