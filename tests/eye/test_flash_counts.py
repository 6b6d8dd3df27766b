"""What cells found and what a close look found, put together."""

from __future__ import annotations

import pytest

from keyturn.eye.flash_counts import Findings, flashes, settled


def found(general: int, at_s: float, share: float = 0.3, red: int = 0) -> Findings:
    count = flashes(max(general, red))
    chart = {int(at_s): (flashes(general), flashes(red))}
    return Findings(general, red, share, ((2, at_s - 0.3), (count, at_s)), chart)


def test_flashes_are_pairs_and_an_odd_transition_begins_another() -> None:
    # WCAG 2.2: "a pair of opposing changes"
    assert [flashes(n) for n in range(9)] == [0, 0, 1, 2, 2, 3, 3, 4, 4]


def test_where_the_close_look_passes_what_cells_counted_is_no_failure() -> None:
    record = settled(found(9, 1.5), [found(0, 1.5, share=0.249)], 3).record(3)
    assert (record.passes, record.general_max_per_s, record.field_share) == (True, 3, 0.249)
    assert record.per_second == ((1.0, 3, 0),)
    assert record.worst_at_s == pytest.approx(1.2)


def test_where_the_close_look_fails_the_record_fails() -> None:
    record = settled(found(4, 0.5, share=0.0), [found(7, 2.5, share=0.253)], 3).record(3)
    assert (record.passes, record.general_max_per_s, record.worst_at_s) == (False, 4, 2.5)
    assert record.per_second == ((0.0, 2, 0), (2.0, 4, 0))


def test_where_both_fail_the_figures_of_the_cells_stand() -> None:
    record = settled(found(12, 0.5), [found(7, 0.4)], 3).record(3)
    assert (record.passes, record.general_max_per_s) == (False, 6)


def test_red_and_general_are_brought_down_each_by_itself() -> None:
    record = settled(found(4, 1.5, red=9), [found(0, 1.5, share=0.2)], 3).record(3)
    assert (record.passes, record.general_max_per_s, record.red_max_per_s) == (True, 2, 3)
