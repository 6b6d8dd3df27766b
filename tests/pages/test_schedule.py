"""What the sheet's player is told, and the start-up times to choose from."""

from __future__ import annotations

import json
import re
from types import ModuleType

from keyturn.pages.schedule import boot_buttons


def test_the_players_schedule_is_plain_json_of_the_parts(by_hand: ModuleType) -> None:
    page = by_hand.sheet_of(by_hand.job())
    found = re.search(r'<script type="application/json" class="schedule">(.*?)</script>', page, re.S)
    assert found is not None
    schedule = json.loads(found[1])
    assert schedule["interval_s"] == 0.1
    assert [(p["type"], p["count"], p["pause_s"], len(p["order"])) for p in schedule["parts"]] == [
        ("p", 1, 0.5, 48),
        ("p", 0, 0.0, 1),
    ]


def test_measured_starts_are_offered_instead_of_assumed_ones(by_hand: ModuleType) -> None:
    samples = tuple(16 + i / 4 for i in range(20))
    buttons = boot_buttons(by_hand.timeline(boot_samples_s=samples))
    assert len(buttons) <= 7
    assert (buttons[0][1], buttons[-1][1]) == (min(samples), max(samples))
    assert [label for label, _ in boot_buttons(by_hand.timeline())] == [
        "shortest 16.0 s",
        "usual 19.0 s",
        "longest 21.0 s",
    ]
