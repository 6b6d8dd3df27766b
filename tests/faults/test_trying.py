"""The cheap way of trying a point is the dear way: checked against strace(1) and against points tried anew."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from faults import snapshots, trying
from faults.campaign import Campaign
from faults.results import Tally
from faults.running import Zygote
from faults.scenarios import SCENARIOS, laid
from faults.snapshots import Entry, difference, digest, lay, take

pytestmark = [pytest.mark.system, pytest.mark.slow]


def test_a_kill_by_strace_leaves_the_folders_that_were_noted_before_the_call(
    zygote: Zygote, desk: Path, tries: Campaign
) -> None:
    """At some calls spread over the run. Both runs have the same clock and the same random names."""
    place, now = desk / "desk", datetime(2026, 3, 2, 9, tzinfo=UTC).isoformat()
    place.mkdir(exist_ok=True)
    steps = tries.submit(trying.noted, "drops", now, 60)
    with laid(place / "shop", SCENARIOS["drops"]) as (shop, _):
        start = take(shop.root)

        def again() -> None:
            lay(start, shop.root)

        again()
        calls = [call for call in zygote.calls(shop.root, now=now, seed=0) if call.changes]
        told = [f"{call.name} {call.text[:200]}" for call in calls], [f"{step.name} {step.text}" for step in steps]
        same = [call.name for call in calls] == [step.name for step in steps]
        assert same, next(pair for pair in zip(*told, strict=False) if pair[0].split()[0] != pair[1].split()[0])
        for call, step in zip(calls, steps, strict=True):
            if step.before is not None:
                again()
                assert zygote.killed_at(call, shop.root, now=now, seed=0).killed
                assert difference(step.before, take(shop.root)) == [], call


@pytest.mark.parametrize("kind", ["kill", "errno"])
def test_what_makes_a_point_cheap_is_also_tried_the_dear_way(tries: Campaign, kind: str) -> None:
    """A real kill in place of noted folders, and a run of its own for folders that were seen before."""
    points = tries.points("changed", kind, 60)[:8]
    tally = tries.run(points * 2, Tally(), sure=True)
    assert tally.merged >= len(points)
    assert not tally.broken


def test_a_snapshot_is_laid_as_it_was_taken(tmp_path: Path) -> None:
    (tmp_path / "one" / "van").mkdir(parents=True, mode=0o750)
    (tmp_path / "one" / "van" / "job.toml").write_text("x")
    (tmp_path / "one" / "van" / "job.toml").chmod(0o640)
    (tmp_path / "one" / "link").symlink_to("van")
    taken = take(tmp_path / "one")
    lay(taken, tmp_path / "two")
    assert take(tmp_path / "two") == taken
    (tmp_path / "two" / "more").touch()
    lay(taken, tmp_path / "two")
    assert take(tmp_path / "two") == taken


@pytest.mark.parametrize("how", ["name", "bytes", "mode"])
def test_snapshots_that_differ_have_other_digests(how: str) -> None:
    van = Entry(0o100644, b"van", 1)
    other = {"name": {"cart": van}, "bytes": {"van": van._replace(data=b"vam")}, "mode": {"van": van._replace(mode=1)}}
    assert digest({"van": van}) != digest(other[how])
    assert digest({"van": van}) == digest({"van": van._replace(mtime_ns=2)})
    assert difference({"van": van}, other[how]) != []
    assert snapshots.difference({"van": van}, {"van": van}) == []
