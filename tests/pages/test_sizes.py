"""The sheet says how large each part's pictures are, where the record has it."""

from __future__ import annotations

import re
from types import ModuleType

import pytest

from keyturn.pages.sheet import sheet
from keyturn.pages.sizes import size_facts
from keyturn.shop.records import RadioRecord


@pytest.mark.parametrize(
    ("more", "fact"),
    [
        ({"bytes": 2 * 2**20, "plain_bytes": 2 * 2**20}, "part 1: 48 pictures, 2.0 MiB as PNG"),
        (
            {"bytes": 2**20, "plain_bytes": 4 * 2**20, "jpeg_frames": 47},
            "part 1: 48 pictures, 1.0 MiB as 47 JPEG (not to the pixel), 1 PNG, 75% less than as plain PNG",
        ),
        (
            {"bytes": 3 * 2**20, "plain_bytes": 4 * 2**20, "palette_frames": 48, "trimmed": True},
            "part 1: 48 pictures, 3.0 MiB as PNG of few colours, cut to what differs from their ground, "
            "25% less than as plain PNG",
        ),
        (
            {"bytes": 2**20, "plain_bytes": 2**20, "palette_frames": 3, "jpeg_frames": 5},
            "part 1: 48 pictures, 1.0 MiB as 5 JPEG (not to the pixel), 3 PNG of few colours, 40 PNG",
        ),
    ],
)
def test_a_parts_fact_adds_up(by_hand: ModuleType, more: dict[str, int], fact: str) -> None:
    radio: RadioRecord = by_hand.radio(parts=(by_hand.part("lamps", 48, **more),))
    assert size_facts(radio) == (fact,)
    job = by_hand.job(radio)
    page = sheet(job.customer, [(job, by_hand.proof(job))], by_hand.CAUTIONS)
    assert fact in " ".join(re.sub(r"<[^>]+>", "", page).split())


def test_revisions_of_before_say_nothing(by_hand: ModuleType) -> None:
    assert size_facts(by_hand.radio()) == ()
