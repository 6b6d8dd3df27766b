"""`keyturn make`: the revision it writes, and what it prints."""

from __future__ import annotations

from pathlib import Path

import pytest

from keyturn.commands import make
from keyturn.shop.folders import Shop
from samples import Clock, Drop, Run
from slow_crew import SlowCrew


def test_make_writes_the_revision_and_says_where(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("make", drop(), "--out", tmp_path / "out", "--root", shop.root) == 0
    said = capsys.readouterr().out
    folder = tmp_path / "out" / "fern-hollow-mobile-library"
    assert str(folder / "van-r1" / "usb") in said
    assert str(folder / "proof.html") in said
    assert (folder / "van-r1" / "usb" / "bootanimation.zip").is_file()


def test_make_reads_a_file_that_defeats_its_reader_once(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = SlowCrew(Clock(), 0, deadly=["lamps/0001.png"])
    monkeypatch.setattr(make, "LocalCrew", lambda size, limits, preload: crew)
    wide = drop(size=(640, 64))  # a crop is looked at before the frames are made
    assert run("make", wide, "--out", tmp_path / "out", "--root", shop.root) == 1
    assert crew.tried.count("lamps/0001.png") == 1
