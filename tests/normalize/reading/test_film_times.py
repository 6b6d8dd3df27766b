"""How long frames are shown and where decoding starts, against closed forms and counts."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from keyturn.normalize.reading import film_times


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=60), st.integers(1, 2000))
def test_durations_are_the_stamps_to_half_a_millisecond(steps: list[int], ticks_a_second: int) -> None:
    """The end of frame n lies within half a millisecond of its exact place, however long the film (closed form);
    frames of less than a millisecond apart, each of which counts as one."""
    stamps = [7 + sum(steps[:n]) for n in range(len(steps))]
    tick = Fraction(1, ticks_a_second)
    durations = film_times.durations_ms(stamps, steps[-1], tick)
    if min(steps) * tick * 1000 < 2:
        assert all(d >= 1 for d in durations)
        return
    for n in range(len(steps)):
        assert abs(sum(durations[: n + 1]) - sum(steps[: n + 1]) * tick * 1000) <= Fraction(1, 2)


def test_a_last_frame_without_a_length_stands_as_long_as_the_one_before() -> None:
    assert film_times.durations_ms([0, 50, 80], 0, Fraction(1, 1000)) == (50, 30, 30)


@given(st.sets(st.integers(0, 40)), st.integers(0, 41), st.integers(0, 40))
def test_a_film_is_entered_where_the_fewest_frames_are_decoded(keys: set[int], upcoming: int, wanted: int) -> None:
    """Against a count: from each place one can start, so many frames up to the one that is wanted."""
    keys |= {0}
    stamps = [100 + 40 * n for n in range(41)]
    entry = film_times.entry(stamps, [stamps[k] for k in sorted(keys)], upcoming, wanted, 0)
    start = upcoming if entry is None else stamps.index(entry)
    ways = [key for key in keys if key <= wanted] + ([upcoming] if upcoming <= wanted else [])
    assert wanted - start == min(wanted - way for way in ways)
