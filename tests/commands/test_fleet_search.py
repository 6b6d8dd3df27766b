"""A fleet's jobs are found by the name of its drop: their sticks in a row, their labels on one page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from keyturn.commands import copy, fleet_search, job_search
from keyturn.outbox import revision_life
from keyturn.shop import mounts
from keyturn.shop.folders import Shop
from keyturn.shop.mounts import Mount
from keyturn.shop.wrong_use import WrongUse
from samples import Drop, Run
from shop_runs import lay, run_until_quiet

Said = pytest.CaptureFixture[str]
HEAD = 'each = "fleet.csv"\ncustomer = "Fern Hollow"\nradio = "tiny"\n'
TABLE = "job,vehicle\nowl,Van 2\nfox,Van 1\nhare,\n"


@pytest.fixture
def fleet(shop: Shop, drop: Drop) -> Shop:
    """A shop whose service made a fleet of three jobs, "vans", and then the job "fox" anew."""
    root = drop("vans", frames=2, manifest=HEAD)
    (root / "fleet.csv").write_text(TABLE, encoding="utf-8")
    lay(root, shop)
    run_until_quiet(shop)
    again = HEAD.partition("\n")[2] + 'job = "fox"\nvehicle = "Van 1"\n'
    lay(drop("fox-anew", frames=3, manifest=again), shop)
    run_until_quiet(shop)
    return shop


def test_each_job_is_found_in_the_order_of_the_rows_and_as_its_newest_revision(fleet: Shop) -> None:
    found = fleet_search.find_jobs("vans", lambda: fleet)
    assert [job.folder.name for job in found] == ["owl-r1", "fox-r2", "hare-r1"]
    assert [job.record.vehicles for job in found] == [("Van 2",), ("Van 1",), ()]
    (alone,) = fleet_search.find_jobs("owl", lambda: fleet)
    assert alone == job_search.find_job("owl", lambda: fleet)
    with pytest.raises(WrongUse, match='no job "ferries"'):
        fleet_search.find_jobs("ferries", lambda: fleet)


def test_a_vehicle_chooses_the_jobs_that_have_it(fleet: Shop) -> None:
    jobs = fleet_search.find_jobs("vans", lambda: fleet)
    assert fleet_search.with_vehicles(jobs, ["van 1"]) == [(jobs[1], ("Van 1",))]
    assert [names for _, names in fleet_search.with_vehicles(jobs, [])] == [(), (), ()]
    with pytest.raises(WrongUse, match="has a vehicle Van 9"):
        fleet_search.with_vehicles(jobs, ["Van 1", "Van 9"])
    with pytest.raises(WrongUse, match="one of: Van 2"):
        fleet_search.with_vehicles(jobs[:1], ["Van 1"])


def test_the_sticks_of_a_fleet_are_written_in_a_row(
    run: Run, fleet: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    """All are plugged in at once, and each gets the files of its own job."""
    places = [tmp_path / name for name in ("a", "b", "c")]
    for place in places:
        place.mkdir()
    sticks = tuple(Mount(place, "vfat", "/dev/sdx1", "8:1", True) for place in places)
    monkeypatch.setattr(mounts, "sticks", lambda: sticks)
    monkeypatch.setattr(mounts, "stick_id", lambda place: f"1A2B-{place.name}")
    assert run("copy", "vans", "--all", "--any-folder", "--root", fleet.root) == 0
    said = capsys.readouterr().out
    assert re.findall(r"^(.*): 2 files", said, re.MULTILINE) == ["owl, Van 2", "fox, Van 1", "hare"]
    for place, job in zip(places, ("owl-r1", "fox-r2", "hare-r1"), strict=True):
        made = fleet.outbox / "fern-hollow" / job
        assert (place / "bootanimation.zip").read_bytes() == (made / "usb" / "bootanimation.zip").read_bytes()
        assert [slip.stick_id for slip in revision_life.read(made).copied] == [f"1A2B-{place.name}"]
    assert run("copy", "vans", "--all", "--root", fleet.root) == 0
    assert "Done before: owl, Van 2, fox, Van 1, hare." in capsys.readouterr().out


def test_of_a_fleet_those_without_a_yes_are_left_out(
    run: Run, fleet: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    (fleet.root / "keyturn.toml").write_text("[approval]\nrequired = true\n", encoding="utf-8")
    monkeypatch.setattr(copy.mounts, "sticks", lambda: (Mount(tmp_path, "vfat", "/dev/sdx1", "8:1", True),))
    monkeypatch.setattr(copy.mounts, "stick_id", lambda place: "1A2B")
    assert run("copy", "vans", "--all", "--any-folder", "--root", fleet.root) == 1
    assert run("answer", "fox", "yes", "--by", "Marta", "--root", fleet.root) == 0
    capsys.readouterr()
    assert run("copy", "vans", "--all", "--any-folder", "--root", fleet.root) == 0
    assert "have not said yes: owl, hare." in " ".join(capsys.readouterr().err.split())
    assert (tmp_path / "bootanimation.zip").is_file()


def test_the_labels_of_a_fleet_are_on_one_page(
    run: Run, fleet: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("labels", "vans", "--root", fleet.root) == 0
    page = (tmp_path / "vans-labels.html").read_text(encoding="utf-8")
    codes = re.findall(r"<title>(keyturn:.*?)</title>", page)
    assert [re.sub(r":[0-9a-f]{16}", "", code) for code in codes] == [
        "keyturn:owl-r1:1",
        "keyturn:fox-r2:1",
        "keyturn:hare-r1",
    ]
    capsys.readouterr()
    assert run("status", codes[0], "--root", fleet.root) == 0
    assert "The label is of the newest revision, 1, Van 2." in capsys.readouterr().out
