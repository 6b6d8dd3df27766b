"""`keyturn fitted` and what `keyturn calibrate RADIO --fitted` makes of it."""

from __future__ import annotations

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
