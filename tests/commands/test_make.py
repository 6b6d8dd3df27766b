"""`keyturn make`: the revision it writes, and what it prints."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from keyturn.commands import make
from keyturn.pages import compiled_templates
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


def files(folder: Path) -> list[Path]:
    """Return the files of what is kept in `folder`, compiled templates apart."""
    return [path for path in folder.rglob("*") if path.is_file() and compiled_templates.FOLDER not in path.parts]


def test_in_a_shop_of_ones_own_frames_are_kept_with_the_shops(run: Run, shop: Shop, drop: Drop, tmp_path: Path) -> None:
    cache = Path(os.environ["XDG_CACHE_HOME"])
    assert run("make", drop(), "--out", tmp_path / "out", "--root", shop.root) == 0
    assert files(shop.kept) and not files(cache)


def test_frames_made_in_somebody_elses_shop_or_in_none_are_kept_in_ones_own_cache(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path
) -> None:
    cache = Path(os.environ["XDG_CACHE_HOME"])
    wide = 'customer = "Fern Hollow"\nradio = "compact-800x480"\n'
    assert run("check", drop("sign", size=(800, 480), frames=1, manifest=wide)) == 0
    kept = files(cache)
    assert kept
    if os.geteuid() != 0:
        pytest.skip("only root can give a folder away")
    os.chown(shop.state, 12345, 12345)
    assert run("make", drop(), "--out", tmp_path / "out", "--root", shop.root) == 0
    assert len(files(cache)) > len(kept) and not files(shop.kept)


def test_a_user_without_a_home_makes_drops_all_the_same(run: Run, drop: Drop, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_home(path: Path) -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setattr(Path, "expanduser", no_home)
    wide = 'customer = "Fern Hollow"\nradio = "compact-800x480"\n'
    assert run("check", drop("sign", size=(800, 480), frames=1, manifest=wide)) == 0
