"""A finding of doctor's."""

from __future__ import annotations

from keyturn.commands.finding import Health, well


def test_what_is_well_needs_no_remedy() -> None:
    finding = well("the clock is right")
    assert (finding.health, finding.what, finding.remedy) == (Health.WELL, "the clock is right", "")
