"""Few of many, evenly spaced; checked against numpy's linspace."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.shop.evenly_spaced import evenly_spaced


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
