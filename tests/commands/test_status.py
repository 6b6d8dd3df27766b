"""`keyturn status`: what waits and what was refused, for people and for programs."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime

import pytest

from keyturn.outbox import shop_state
from keyturn.shop.folders import Shop
from keyturn.shop.state_records import AsideDrop, PlaceCounts, ShopState, Working
from page_records import placed_jobs
from samples import Drop, Run, with_rows
from shop_runs import lay, run_until_quiet


def test_status_tells_what_waits_and_what_was_refused(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    drop("waiting").rename(shop.inbox / "waiting")
    assert run("status", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "not running" in said and "waiting" in said
    assert run("status", "--root", shop.root, "--json") == 0
    assert json.loads(capsys.readouterr().out)["waiting"][0]["name"] == "waiting"


def test_a_folder_whose_name_is_not_utf_8_is_told_too(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    drop("x").rename(shop.inbox / os.fsdecode(b"van\xff"))
    assert run("status", "--root", shop.root) == 0
    assert "van\N{REPLACEMENT CHARACTER}: " in capsys.readouterr().out
    assert run("status", "--root", shop.root, "--json") == 0
    assert os.fsencode(json.loads(capsys.readouterr().out)["waiting"][0]["name"]) == b"van\xff"


def test_watching_shows_the_state_again_until_ctrl_c(
    run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    waits: list[float] = []

    def sleep(seconds: float) -> None:
        waits.append(seconds)
        if len(waits) == 3:
            raise KeyboardInterrupt

    monkeypatch.setattr("keyturn.commands.status.time.sleep", sleep)
    assert run("status", "--root", shop.root, "--watch", "--json") == 130
    states = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert waits == [2.0] * 3 and [state["running"] for state in states] == [False] * 3


def test_hostile_names_are_printed_as_text(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    """ECMA-48: a terminal obeys control sequences; so names are printed without them."""
    drop("x").rename(shop.inbox / "[red]\x1b[31mvan\u202e")
    assert run("status", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said and "\u202e" not in said
    assert "[red]" in said


def test_a_drop_that_is_set_aside_is_told_with_what_to_do(
    run: Run, shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    what, mend = "the service may not read lamps/0003.png", "chmod o+r lamps/0003.png"
    drop = AsideDrop(
        name="van[/x]",
        place="work/C/drop",
        what=what,
        mend=mend,
        since="2026-03-01T09:30:00",
        times=2,
        others_went=True,
    )
    for number, times in (("C", 2), ("D", 1)):
        (shop.work / number).mkdir()
        (shop.work / number / "aside.json").write_text(drop.model_copy(update={"times": times}).model_dump_json())
    assert run("status", "--root", shop.root) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("Set aside:") == 1 and f"van[/x]: {what} -> {mend} (work/C/drop)" in said
    assert run("status", "--root", shop.root, "--json") == 0
    assert [d["mend"] for d in json.loads(capsys.readouterr().out)["aside"]] == [mend]
    run("doctor", "--root", shop.root)
    assert f"mind van[/x] is set aside (work/C/drop): {what} -> {mend}" in " ".join(capsys.readouterr().out.split())


def test_a_service_that_cannot_write_is_told_with_its_pause_its_settings_and_the_drop_in_hand(
    run: Run, shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    working = Working(name="van[/x]", stage="frames", done=3, total=7, since="")
    said = ShopState(
        at="2026-03-01T09:30:00+00:00",
        running=True,
        pid=os.getpid(),
        paused="No space left on device[/x]",
        settings_fault="keyturn.toml: line 3[/x]",
        removal_waits="the clock must run evenly[/x]",
        working=(working,),
    )
    shop_state.write_state(shop, said)
    (shop.work / "C" / "drop").mkdir(parents=True)
    with shop.held():
        assert run("status", "--root", shop.root) == 0
        lines = " ".join(capsys.readouterr().out.split())
        assert f"Service: running (process {os.getpid()})" in lines
        assert f"Out of date: process {os.getpid()} has not written its state since {said.at}" in lines
        assert "Paused: No space left on device[/x]" in lines
        assert "The settings stay as they were: keyturn.toml: line 3[/x]" in lines
        assert "Nothing old is removed yet: the clock must run evenly[/x]" in lines
        assert "In work: C, waiting" in lines
        now = said.model_copy(update={"at": datetime.now(UTC).isoformat()})
        shop_state.write_state(shop, now)
        run("status", "--root", shop.root)
    lines = " ".join(capsys.readouterr().out.split())
    assert "In work: van[/x], frames 3/7" in lines and "Out of date" not in lines


def test_jobs_are_told_in_their_places(run: Run, shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    jobs = placed_jobs(60, said="yes from Marta[/x]")
    places = PlaceCounts(change=12, stick=12, fit=3000, fitted=12, fitted_earlier=7)
    said = ShopState(at=datetime.now(UTC).isoformat(), running=True, pid=os.getpid(), jobs=jobs, places=places)
    shop_state.write_state(shop, said)
    with shop.held():
        assert run("status", "--root", shop.root) == 0
        text = capsys.readouterr().out
        assert run("status", "--root", shop.root, "--json") == 0
        told = json.loads(capsys.readouterr().out)
    assert "To be fitted: 3000\n  outbox/c/van-2-r1 for Fern Hollow Mobile Library, since 2026-03-02" in text
    assert ": yes from Marta[/x]\n" in text and "  and 2990 more" in text and "Fitted earlier: 7;" in text
    assert "Waiting for the customer: none" in text and "Ready:" not in text
    assert told["places"]["fit"] == 3000 and told["jobs"][0]["said"] == "yes from Marta[/x]"


def test_of_long_lists_the_first_rows_are_kept_in_the_state_file(shop: Shop) -> None:
    jobs = placed_jobs(1500)
    shop_state.write_state(shop, ShopState(at="2026-03-01T09:30:00+00:00", running=True, jobs=jobs))
    kept = shop_state.read_state(shop)
    assert kept and len(kept.jobs) == 5 * shop_state.MOST_KEPT and kept.jobs[:5] == jobs[:5]


def test_a_fleet_is_counted_with_where_its_jobs_stand(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = ("customer;job", "Fern;one", "Fern;two", "Ada;one")
    lay(with_rows(drop("vans", frames=3, manifest='each = "fleet.csv"\nradio = "tiny"\n'), *rows), shop)
    lay(drop("alone", frames=3), shop)
    run_until_quiet(shop)
    capsys.readouterr()
    assert run("status", "--root", shop.root) == 0
    assert "Fleet vans: 3 jobs, made 20" in capsys.readouterr().out
    assert run("fitted", "fern/two", "--by", "Tobias", "--root", shop.root) == 0
    capsys.readouterr()
    assert run("status", "--root", shop.root, "--json") == 0
    (fleet,) = json.loads(capsys.readouterr().out)["fleets"]
    assert (fleet["drop"], fleet["jobs"], fleet["places"]) == ("vans", 3, {"stick": 2, "fitted": 1})
