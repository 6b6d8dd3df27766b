"""Which points are tried where each line of the code is hit once."""

from __future__ import annotations

import pytest

from faults.campaign import Campaign
from faults.points import FirstAtEachLine, Place, Point


def at(number: int, line: str, error: str = "", *, kind: str = "errno", scenario: str = "drops") -> Point:
    return Point(scenario, kind, Place("rename", number), error, line=line)


def test_a_line_that_was_hit_before_is_left_out_also_in_the_next_scenario() -> None:
    first = FirstAtEachLine()
    drops = [at(1, "a"), at(2, "a"), at(3, "b")]
    assert first.of(drops) == [drops[0], drops[2]]
    later = [at(1, "b", scenario="mended"), at(2, "c", scenario="mended")]
    assert first.of(later) == [later[1]]


def test_a_call_fails_with_every_error_it_can_give() -> None:
    first = FirstAtEachLine()
    once = [at(1, "a", "EIO"), at(1, "a", "EACCES")]
    assert first.of([*once, at(2, "a", "EIO"), at(2, "a", "ENOSPC")]) == [*once, at(2, "a", "ENOSPC")]


def test_the_variants_of_other_faults_take_turns() -> None:
    found = [at(call, str(call), jump, kind="clock") for call in (1, 2, 3) for jump in ("ahead", "back")]
    assert FirstAtEachLine().of(found) == [found[0], found[3], found[4]]


def test_each_kind_of_fault_hits_each_line() -> None:
    first = FirstAtEachLine()
    assert first.of([at(1, "a")]) and first.of([at(1, "a", kind="kill")])


@pytest.mark.system
@pytest.mark.slow
def test_a_run_tells_the_lines_of_its_calls_and_another_run_the_same(tries: Campaign) -> None:
    """A run has many lines, and some are hit again: the scenario's drops of stock files go the same way."""
    found = tries.points("stock", "errno", 1, lines=True)
    chosen = FirstAtEachLine().of(found)
    assert all(point.line for point in found)
    assert len({point.line for point in found}) > 1000
    assert len(chosen) < 0.8 * len(found)
    tries.points("mended", "errno", 1)  # lays another scenario
    assert [point.line for point in tries.points("stock", "errno", 1, lines=True)] == [point.line for point in found]
