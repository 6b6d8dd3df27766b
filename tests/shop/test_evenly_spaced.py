"""Few of many, evenly spaced, which is checked against numpy's linspace, or spread by chance."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop.evenly_spaced import evenly_spaced, spread_by_chance


@given(st.integers(1, 5000), st.integers(2, 300))
def test_the_indices_are_those_of_linspace(count: int, most: int) -> None:
    # an index is at most half a step from its place
    places = np.linspace(0, count - 1, min(count, most))
    found = np.array(evenly_spaced(count, most))
    assert len(found) == min(count, most)
    assert np.abs(found - places).max() <= 0.5 + 1e-9


@given(st.integers(1, 5000), st.integers(2, 300))
def test_gaps_differ_by_one_at_most_and_both_ends_are_there(count: int, most: int) -> None:
    found = evenly_spaced(count, most)
    gaps = {b - a for a, b in pairwise(found)}
    assert (found[0], found[-1]) == (0, count - 1)
    assert not gaps or (min(gaps) >= 1 and max(gaps) - min(gaps) <= 1)


@pytest.mark.parametrize(
    ("count", "most", "chosen"),
    [
        (0, 5, ()),
        (1, 5, (0,)),
        (5, 5, (0, 1, 2, 3, 4)),
        (6, 5, (0, 1, 2, 4, 5)),  # at 1.25, 2.5 and 3.75: the half goes to the even 2
        (10, 7, (0, 2, 3, 4, 6, 8, 9)),  # at 1.5, 3, 4.5, 6 and 7.5
        (10, 1, (0,)),
        (10, 0, ()),
    ],
)
def test_some_cases_by_hand(count: int, most: int, chosen: tuple[int, ...]) -> None:
    assert evenly_spaced(count, most) == chosen


@given(st.integers(32, 3000), st.integers(1, 4))
def test_each_round_by_chance_has_one_of_each_stretch_and_none_twice(count: int, rounds: int) -> None:
    found = list(spread_by_chance(count, 8, rounds))
    assert len(found) == rounds and found == list(spread_by_chance(count, 8, rounds))
    assert len({index for chosen in found for index in chosen}) == 8 * rounds
    edges = np.arange(1, 8) * count // 8
    assert all(list(np.searchsorted(edges, chosen, side="right")) == list(range(8)) for chosen in found)


def test_no_distance_recurs() -> None:
    """Indices at even distances would all be even, or all odd, of each second count."""
    for count in range(32, 300):
        (chosen,) = spread_by_chance(count, 8, 1)
        gaps = {b - a for a, b in pairwise(chosen)}
        assert len(gaps) > 1
