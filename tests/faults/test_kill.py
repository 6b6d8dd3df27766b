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
from faults.campaign import Point
from faults.results import Tally
from faults.running import Zygote

pytestmark = [pytest.mark.system, pytest.mark.slow]

ALL_ASKED_FOR = bool(os.environ.get("KEYTURN_CAMPAIGN"))
"""Read when the tests are collected: a fixture takes the shop's variables away."""


def tally_of(chosen: list[Point], desk: Path) -> Tally:
    tally = campaign.run(chosen, desk, 2, Tally())
    assert tally.reached >= 0.8 * len(chosen) > 0, "most faults must have struck: reads vary a little from run to run"
    told = [f"{result.told}: {'; '.join(result.broken)}" for result in tally.broken]
    assert not told, "\n".join(told)
    return tally


def first(desk: Path) -> Path:
    """As deep as the desks of `campaign.run`."""
    (desk / "first").mkdir(exist_ok=True)
    return desk / "first"


def chosen(scenario: str, kind: str, zygote: Zygote, desk: Path, every: int, most: int) -> list[Point]:
    """Spread evenly over the run, `most` at most."""
    every_one = list(campaign.points(scenario, kind, every, zygote, first(desk)))
    return every_one[:: -(-len(every_one) // most)]


@pytest.mark.parametrize(("scenario", "most"), [("drops", 60), ("changed", 20), ("mended", 15)])
def test_killed_before_any_call_the_shop_keeps_its_promises(
    desk: Path, zygote: Zygote, scenario: str, most: int
) -> None:
    tally = tally_of(chosen(scenario, "kill", zygote, desk, 12, most), desk)
    assert tally.ended["killed"] == tally.points


@pytest.mark.parametrize("scenario", ["inbox-apart", "all-apart"])
def test_killed_between_two_mounts_the_shop_keeps_its_promises(desk: Path, zygote: Zygote, scenario: str) -> None:
    try:
        points = chosen(scenario, "kill", zygote, desk, 12, 25)
    except OSError as error:
        pytest.skip(str(error))
    tally_of(points, desk)


def test_killed_again_while_it_recovers_the_shop_keeps_its_promises(desk: Path, zygote: Zygote) -> None:
    """The first kill before some of the renames, the second anywhere in the run that follows."""
    calls = [call for call in campaign.first_calls("drops", zygote, first(desk)) if call.renames]
    points = []
    for cut in calls[:: -(-len(calls) // 6)]:
        again = [call for call in campaign.recovery_calls("drops", cut, zygote, first(desk)) if call.changes]
        points += [Point("drops", "double", cut, second=call) for call in again[:: -(-len(again) // 5)]]
    tally_of(points, desk)


@pytest.mark.parametrize(("kind", "most"), [("errno", 60), ("burst", 25)])
def test_a_call_that_fails_costs_nobody_anything(desk: Path, zygote: Zygote, kind: str, most: int) -> None:
    """EIO, ENOSPC, EROFS, EMFILE and EACCES in turn, once or several times running (promise 7)."""
    tally = tally_of(chosen("drops", kind, zygote, desk, 10, most), desk)
    assert tally.ended["crashed"] == tally.ended["never quiet"] == 0


def test_a_call_that_fails_between_two_mounts_costs_nobody_anything(desk: Path, zygote: Zygote) -> None:
    try:
        points = chosen("inbox-apart", "burst", zygote, desk, 12, 25)
    except OSError as error:
        pytest.skip(str(error))
    tally_of(points, desk)


@pytest.mark.campaign
@pytest.mark.skipif(not ALL_ASKED_FOR, reason="takes an hour: set KEYTURN_CAMPAIGN")
def test_the_whole_campaign() -> None:
    program = Path(campaign.__file__)
    said = subprocess.run([sys.executable, str(program)], capture_output=True, text=True)
    assert said.returncode == 0, said.stdout
