"""The order of a customer's jobs on the sheet."""

from __future__ import annotations

import re
from types import ModuleType

from keyturn.pages.sheet import sheet


def test_the_jobs_of_a_fleet_stand_together_in_the_order_of_its_table(by_hand: ModuleType) -> None:
    """They are made side by side, so they are ready in another order."""
    at = "2026-03-0{}T09:30:00+00:00"
    fleet = {2: 5, 3: 2, 4: 6, 5: 4}  # row, day
    jobs = [by_hand.job(job=f"van-{row}", made_at=at.format(day), claim="c", row=row) for row, day in fleet.items()]
    jobs += [by_hand.job(job="barge", made_at=at.format(7)), by_hand.job(job="kiosk", made_at=at.format(3))]
    page = sheet(jobs[0].customer, [(job, by_hand.proof(job)) for job in jobs], by_hand.CAUTIONS)
    assert re.findall(r">(barge|kiosk|van-\d)</bdi> <span", page) == [
        "barge",
        "van-2",
        "van-3",
        "van-4",
        "van-5",
        "kiosk",
    ]
