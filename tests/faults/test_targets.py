"""Readers fed with anything: mutations of good input (Hypothesis), and what the fuzzer (fuzz.py) has found before."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faults import fuzz
from faults.targets import TARGETS, seeds

FOUND = Path(__file__).with_name("found")
EXAMPLES = {"records": 60, "settings": 60}
"""These touch the disk a lot; the rest get 150."""


@st.composite
def mutated(draw: st.DrawFn, target: str) -> bytes:
    """One of the seeds, or of their halves, with a few pieces put in other places' stead."""
    data = draw(st.sampled_from([*seeds(target), b""]))
    for _ in range(draw(st.integers(0, 4))):
        start, length = draw(st.integers(0, len(data))), draw(st.integers(0, 8))
        piece = draw(st.binary(max_size=12) | st.sampled_from(seeds(target)))
        data = data[:start] + piece + data[start + length :]
    return data


@pytest.mark.parametrize("target", list(TARGETS))
def test_a_reader_lives_through_mutated_input(target: str) -> None:
    @settings(max_examples=EXAMPLES.get(target, 150), deadline=None, suppress_health_check=list(HealthCheck))
    @given(mutated(target))
    def lives(data: bytes) -> None:
        TARGETS[target](data)

    lives()


@pytest.mark.parametrize("target", list(TARGETS))
def test_good_input_and_what_was_found_before_do_no_harm(target: str) -> None:
    known = [*seeds(target), *(p.read_bytes() for p in sorted((FOUND / target).glob("*")))]
    for data in known:
        TARGETS[target](data)


def test_the_fuzzer_knows_every_target() -> None:
    assert set(fuzz.NAMES) == set(TARGETS)
