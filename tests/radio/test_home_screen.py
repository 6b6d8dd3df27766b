"""How long an animation keeps the home screen: the worst start found, against every start tried."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.home_screen import worst_delay_ever_s, worst_delay_s
from keyturn.radio.pacing import Pacing, PlayedPart
from keyturn.radio.timeline import Timeline
from samples import examples

SECOND = Pacing(10, "fixed-beat", 0.02, later_cost_s=0.005)
FOURTH = Pacing(10, "fixed-beat", 0.02, later_cost_s=0.005, pause_check_ms=50)
FIRST = Pacing(10, "additive", 0.02, later_cost_s=0.005, killed=True)

PARTS = st.lists(
    st.builds(
        PlayedPart,
        type=st.sampled_from(["p", "p", "c"]),
        count=st.integers(0, 3),
        pause=st.integers(0, 6),
        frames=st.integers(1, 5),
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=examples(200), deadline=None)
@given(PARTS, st.sampled_from([SECOND, FOURTH]), st.floats(0.0, 3.0), st.floats(0.0, 2.0))
def test_no_start_is_delayed_longer_than_the_worst(
    parts: list[PlayedPart], pacing: Pacing, shortest_s: float, span_s: float
) -> None:
    worst_s = worst_delay_s(parts, pacing, shortest_s, shortest_s + span_s)
    tried = [Timeline(tuple(parts), pacing, shortest_s + span_s * n / 199).delay_s for n in range(200)]
    assert max(tried) <= worst_s + 1e-9
    assert worst_s <= max(tried) + span_s / 199 + 0.11  # a start is between two that were tried, a beat apart at most
    assert worst_s <= worst_delay_ever_s(parts, pacing) + 1e-6


@pytest.mark.parametrize(("pacing", "delay_s"), [(FIRST, 0.0), (SECOND, 6.1), (FOURTH, 0.1)])
def test_a_pause_of_three_seconds_on_an_endless_part(pacing: Pacing, delay_s: float) -> None:
    """Until 11 the pause is slept whole, then a frame and its pause; 4.0 is killed; 14 looks every 50 ms."""
    loop = [PlayedPart("p", 0, 30, 12)]
    assert worst_delay_ever_s(loop, pacing) == pytest.approx(delay_s, abs=0.06)


def test_an_endless_part_without_frames_holds_for_ever_but_on_the_first_generation() -> None:
    empty = [PlayedPart("p", 1, 0, 5), PlayedPart("p", 0, 0, 0)]
    assert math.isinf(worst_delay_ever_s(empty, SECOND)) and math.isinf(worst_delay_ever_s(empty, FOURTH))
    assert worst_delay_ever_s(empty, FIRST) == 0.0


def test_a_part_that_must_finish_holds_its_whole_length() -> None:
    assert worst_delay_ever_s([PlayedPart("c", 1, 0, 50)], SECOND) == pytest.approx(5.0, abs=0.03)


def test_a_count_of_two_billion_is_answered_like_a_small_one() -> None:
    """An archive from outside may say any 32-bit number; the plays are not counted out one by one."""
    assert worst_delay_ever_s([PlayedPart("p", 2**31 - 1, 5, 3)], SECOND) == worst_delay_ever_s(
        [PlayedPart("p", 100, 5, 3)], SECOND
    )
