"""A sample of the campaign: killed at a system call, then started again, the shop keeps every promise.

All of it: KEYTURN_CAMPAIGN=1 pytest -m campaign, or python tests/faults/campaign.py --lines.
"""

from __future__ import annotations

import os
import re
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


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    program = Path(campaign.__file__)
    return subprocess.run([sys.executable, str(program), *arguments], capture_output=True, text=True)


def test_the_program_goes_on_where_it_was_broken_off_and_adds_up(tmp_path: Path) -> None:
    file = str(tmp_path / "results")
    few = ["--lines", "--scenario", "mended", "--only", "kill", "--every", "60", "--results", file]
    said = run(*few)
    assert said.returncode == 0, said.stdout + said.stderr
    assert re.search(r"^mended +kill", said.stdout, re.MULTILINE)
    assert "mended" not in run(*few).stdout
    assert "0 broken" in run("--sum", file).stdout


@pytest.mark.campaign
@pytest.mark.skipif(not ALL_ASKED_FOR, reason="takes hours: set KEYTURN_CAMPAIGN")
def test_each_line_of_the_code_is_hit_by_each_kind_of_fault() -> None:
    said = run("--lines")
    assert said.returncode == 0, said.stdout
