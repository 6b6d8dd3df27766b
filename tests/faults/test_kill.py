"""A sample of the campaign: killed at a system call, then started again, the shop keeps every promise.

All of it: KEYTURN_CAMPAIGN=1 pytest -m campaign, or python tests/faults/campaign.py.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from faults import campaign
from faults.campaign import Campaign
from faults.points import Point
from faults.results import Tally

pytestmark = [pytest.mark.system, pytest.mark.slow]

ALL_ASKED_FOR = bool(os.environ.get("KEYTURN_CAMPAIGN"))
"""Read when the tests are collected: a fixture takes the shop's variables away."""


def tally_of(points: list[Point], tries: Campaign) -> Tally:
    tally = tries.run(points, Tally())
    assert tally.reached >= 0.8 * len(points) > 0, "most faults must have struck: reads vary a little from run to run"
    told = [f"{result.told}: {'; '.join(result.broken)}" for result in tally.broken]
    assert not told, "\n".join(told)
    return tally


def chosen(tries: Campaign, scenario: str, kind: str, every: int, most: int) -> list[Point]:
    """Spread evenly over the run, `most` at most."""
    try:
        every_one = tries.points(scenario, kind, every)
    except OSError as error:
        pytest.skip(str(error))
    return every_one[:: -(-len(every_one) // most)]


@pytest.mark.parametrize(
    ("scenario", "most"),
    [
        ("drops", 60),
        ("changed", 20),
        ("mended", 15),
        ("answers", 25),
        ("fleet", 100),
        ("fleet-rest", 40),
        ("stock", 25),
        ("beside", 15),
        ("beside-same", 12),
    ],
)
def test_killed_before_any_call_the_shop_keeps_its_promises(tries: Campaign, scenario: str, most: int) -> None:
    tally = tally_of(chosen(tries, scenario, "kill", 12, most), tries)
    assert tally.ended["killed"] == tally.points


@pytest.mark.parametrize("scenario", ["inbox-apart", "all-apart", "fleet-apart"])
def test_killed_between_two_mounts_the_shop_keeps_its_promises(tries: Campaign, scenario: str) -> None:
    tally_of(chosen(tries, scenario, "kill", 12, 25), tries)


def test_killed_again_while_it_recovers_the_shop_keeps_its_promises(tries: Campaign) -> None:
    """The first kill before some of the renames, the second anywhere in the run that follows."""
    points = tries.points("drops", "double", 12, firsts=6)
    tally_of(points[:: -(-len(points) // 30)], tries)


@pytest.mark.parametrize(("kind", "most"), [("errno", 60), ("burst", 25)])
def test_a_call_that_fails_costs_nobody_anything(tries: Campaign, kind: str, most: int) -> None:
    """EIO, ENOSPC, EROFS, EMFILE and EACCES in turn, once or several times running (promise 7)."""
    tally = tally_of(chosen(tries, "drops", kind, 10, most), tries)
    assert tally.ended["crashed"] == tally.ended["never quiet"] == 0


def test_a_call_that_fails_between_two_mounts_costs_nobody_anything(tries: Campaign) -> None:
    tally_of(chosen(tries, "inbox-apart", "burst", 12, 25), tries)


@pytest.mark.parametrize("kind", ["share", "gone", "state-full", "clock"])
def test_minutes_without_a_share_or_space_and_clocks_that_are_set_cost_nobody_anything(
    tries: Campaign, kind: str
) -> None:
    tally_of(chosen(tries, "drops", kind, 11, 6), tries)


@pytest.mark.campaign
@pytest.mark.skipif(not ALL_ASKED_FOR, reason="takes hours: set KEYTURN_CAMPAIGN")
def test_the_whole_campaign() -> None:
    program = Path(campaign.__file__)
    said = subprocess.run([sys.executable, str(program)], capture_output=True, text=True)
    assert said.returncode == 0, said.stdout
