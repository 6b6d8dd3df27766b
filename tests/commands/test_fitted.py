"""`keyturn fitted` and what `keyturn calibrate RADIO --fitted` makes of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand, slip_entry
from keyturn.outbox import published_digests, revision_life
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from samples import Drop, Run

Said = pytest.CaptureFixture[str]


@pytest.fixture
def revision(shop: Shop, drop: Drop, bench: Bench) -> Path:
    folder = make_by_hand.make(drop(frames=2), shop.outbox, bench).folder
    assert folder is not None
    published_digests.record(shop.published, f"{folder.parent.name}/{folder.name}", folder)
    return folder


def test_what_was_fitted_is_noted_beside_the_revision(run: Run, shop: Shop, revision: Path, capsys: Said) -> None:
    told = ("--by", "Tobias", "--boot", "18.2", "--vehicle", "van 2")
    assert run("fitted", "van", *told, "--root", shop.root) == 0
    assert "fern-hollow-mobile-library/van-r1, written beside" in capsys.readouterr().out
    assert run("fitted", revision) == 0
    first, second = revision_life.read(revision).fitted
    assert (first.by, first.boot_s, first.vehicle, first.radio) == ("Tobias", 18.2, "van 2", "tiny")
    assert (second.by, second.boot_s) == (slip_entry.login_name(), None)


@pytest.fixture
def for_vans(revision: Path, shop: Shop) -> Path:
    """The same revision, of a job for two vehicles."""
    told = json.loads((revision / "job.json").read_text()) | {"vehicles": ["Van 1", "Van 2"]}
    (revision / "job.json").write_text(json.dumps(told))
    published_digests.record(shop.published, f"{revision.parent.name}/{revision.name}", revision)
    return revision


def test_vehicles_are_fitted_one_by_one(run: Run, shop: Shop, for_vans: Path, capsys: Said) -> None:
    at = ("--root", shop.root)
    assert run("fitted", "van", *at) == 2
    assert "several vehicles" in capsys.readouterr().err
    assert run("fitted", "van", "--vehicle", "Van 3", *at) == 2
    assert "one of: Van 1, Van 2" in capsys.readouterr().err
    assert run("fitted", "van", "--vehicle", "van  2", "--by", "Tobias", *at) == 0
    assert "Still to be fitted: Van 1." in capsys.readouterr().out
    assert run("status", *at) == 0
    said = capsys.readouterr().out
    assert "To be fitted: 1" in said and "1 of 2 fitted; left, still to copy: Van 1" in said
    assert "    Van 2: fitted, since" in said and "    Van 1: to be put on a stick\n" in said
    assert run("status", "--json", *at) == 0
    (job,) = json.loads(capsys.readouterr().out)["jobs"]
    assert job["place"] == "fit" and [line["place"] for line in job["lines"]] == ["stick", "fitted"]
    assert run("fitted", "van", "--vehicle", "Van 1", *at) == 0
    assert "Still to be fitted: none." in capsys.readouterr().out
    assert run("status", *at) == 0
    assert "Fitted this week: 1" in capsys.readouterr().out


def test_the_only_vehicle_need_not_be_named(run: Run, shop: Shop, for_vans: Path) -> None:
    told = json.loads((for_vans / "job.json").read_text()) | {"vehicles": ["Van 1"]}
    (for_vans / "job.json").write_text(json.dumps(told))
    published_digests.record(shop.published, f"{for_vans.parent.name}/{for_vans.name}", for_vans)
    assert run("fitted", "van", "--root", shop.root) == 0
    assert revision_life.read(for_vans).fitted[0].vehicle == "Van 1"


@pytest.mark.parametrize("wrong", [("--boot", "0"), ("--boot", "700"), ("--radio", "wide")])
def test_what_cannot_be_is_wrong_use(run: Run, shop: Shop, revision: Path, wrong: tuple[str, str]) -> None:
    assert run("fitted", "van", *wrong, "--root", shop.root) == 2
    assert not revision_life.read(revision).fitted


def test_boots_that_fitters_told_go_into_the_rules_when_somebody_asks(
    run: Run, shop: Shop, revision: Path, capsys: Said
) -> None:
    assert run("calibrate", "tiny", "--fitted", "--root", shop.root) == 2
    assert "no fitter has told a boot of tiny" in capsys.readouterr().err
    for number in range(5):
        assert run("fitted", "van", "--boot", f"18.{number}", "--root", shop.root) == 0
        assert run("calibrate", "tiny", "--fitted", "--root", shop.root) == 0
        boot = rulebook.load(shop.rules).radios["tiny"].boot
        assert len(boot.told) == number + 1 and boot.samples == ()
        assert len(boot.starts) == (5 if number == 4 else 0)
    said = capsys.readouterr().out
    assert "from 5 starts on, those on film included. There are 4." in said and "There are 5." not in said
