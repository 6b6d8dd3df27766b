"""What the sheet's player is given, and the start-up times to choose from."""

from __future__ import annotations

import json
import re
from types import ModuleType

import pytest

from keyturn.pages.schedule import boot_buttons, longest_boot_s, pictures, schedule


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


def test_the_logo_is_one_of_the_pictures(by_hand: ModuleType) -> None:
    radio = by_hand.radio()
    same = by_hand.radio_proof(radio)
    assert pictures(same) == same.frames
    assert schedule(radio, same)["logo"] == 0
    other = by_hand.radio_proof(radio, logo=by_hand.picture(99))
    assert pictures(other) == (*other.frames, other.logo)
    assert schedule(radio, other)["logo"] == len(other.frames)


def test_few_measured_starts_are_all_offered_once_each(by_hand: ModuleType) -> None:
    buttons = boot_buttons(by_hand.timeline(boot_samples_s=(19.0, 16.5, 19.0)))
    assert buttons == (("16.5 s", 16.5), ("19.0 s", 19.0))


@pytest.mark.parametrize(("longest_s", "once_only_s"), [(21.0, 4.8), (21.0, 60.0)])
def test_the_start_up_time_reaches_beyond_starts_and_once_only_parts(
    by_hand: ModuleType, longest_s: float, once_only_s: float
) -> None:
    reach = longest_boot_s(by_hand.timeline(boot_longest_s=longest_s, once_only_s=once_only_s))
    assert reach > 1.15 * max(longest_s, once_only_s)
    assert reach == int(reach)
