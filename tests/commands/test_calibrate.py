"""`keyturn calibrate`: the stick it makes and what it learns from filmed starts."""

from __future__ import annotations

import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from keyturn.shop.folders import Shop
from samples import Run

Said = pytest.CaptureFixture[str]


def profile(shop: Shop) -> dict[str, Any]:
    return tomllib.loads((shop.rules / "radios" / "tiny.toml").read_text(encoding="utf-8"))


def test_a_calibration_stick_is_made_with_what_to_do(run: Run, shop: Shop, tmp_path: Path, capsys: Said) -> None:
    out = tmp_path / "count"
    assert run("calibrate", "tiny", "--out", out, "--seconds", 1, "--fps", 5, "--root", shop.root) == 0
    archive = zipfile.ZipFile(out / "bootanimation.zip")
    assert archive.read("desc.txt") == b"48 64 5\np 1 0 part0\np 0 0 part1\n"
    assert Image.open(out / "logo.png").size == (48, 64)
    said = capsys.readouterr().out
    assert str(out) in said and "Film the screen" in said and "Park the vehicle" in said
    assert run("inspect", out / "bootanimation.zip", "--radio", "tiny", "--root", shop.root) == 0


def test_a_stick_for_the_eye_counts_alone(run: Run, shop: Shop, tmp_path: Path, capsys: Said) -> None:
    for options, rows in ((("--by-eye",), 2), ((), 4)):
        out = tmp_path / f"count-{rows}"
        assert run("calibrate", "tiny", "--out", out, "--seconds", 5, "--fps", 2, *options, "--root", shop.root) == 0
        desc = zipfile.ZipFile(out / "bootanimation.zip").read("desc.txt")
        assert desc.count(b"part") == (rows if not options else 2)
        assert ("--read 17.9" in capsys.readouterr().out) == bool(options)


def test_a_stick_never_overwrites(run: Run, shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    assert run("calibrate", "tiny", "--out", tmp_path, "--seconds", 1, "--root", shop.root) == 2
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_filmed_starts_are_learnt_into_the_shops_rules(run: Run, shop: Shop, capsys: Said) -> None:
    """At 10 fps a frame is due every 100 ms; 179 frames in 22.4 s take 125.1 ms each, so a frame costs 25.1 ms."""
    readings = ("--read", "17.9", "18.4", "--filmed", "22.4", "23.0")
    assert run("calibrate", "tiny", *readings, "--root", shop.root) == 0
    stored = profile(shop)
    assert stored["boot"]["samples"] == [22.4, 23.0]
    assert stored["limits"]["draw_ms"] == pytest.approx(25.1, abs=0.2)
    assert "2 added to 0 kept" in capsys.readouterr().out
    assert run("calibrate", "tiny", "--read", "17.9", "--root", shop.root) == 0
    assert profile(shop)["boot"]["samples"][:2] == [22.4, 23.0]
    assert len(profile(shop)["boot"]["samples"]) == 3


def test_a_shipped_radio_is_learnt_into_a_profile_of_the_shops_own(run: Run, shop: Shop) -> None:
    assert run("calibrate", "wide-1024x600", "--read", "17.9", "--filmed", "22.4", "--root", shop.root) == 0
    own = tomllib.loads((shop.rules / "radios" / "wide-1024x600.toml").read_text(encoding="utf-8"))
    assert own["boot"]["samples"] == [22.4]


@pytest.mark.parametrize(
    "arguments",
    [
        ("--filmed", "22.4"),
        ("--read", "17.9", "18.4", "--filmed", "22.4"),
        ("--read", "often"),
        ("--read", "17,9"),
        ("--read", "17.95"),
        ("--read", "17.9", "--filmed", "2"),
        ("--fps", "61"),
        ("--fps", "45", "--seconds", "1"),
        ("--seconds", "0"),
    ],
)
def test_wrong_use_stores_nothing(run: Run, shop: Shop, tmp_path: Path, arguments: tuple[str, ...]) -> None:
    before = (shop.rules / "radios" / "tiny.toml").read_bytes()
    out = () if "--read" in arguments or "--filmed" in arguments else ("--out", tmp_path / "count")
    assert run("calibrate", "tiny", *arguments, *out, "--root", shop.root) == 2
    assert (shop.rules / "radios" / "tiny.toml").read_bytes() == before
    assert not (tmp_path / "count").exists()


def test_an_unknown_radio_or_no_shop_at_all(run: Run, shop: Shop, tmp_path: Path, capsys: Said) -> None:
    assert run("calibrate", "tinny", "--out", tmp_path / "x", "--root", shop.root) == 1
    assert '"tiny"' in capsys.readouterr().err
    assert run("calibrate", "tall-768x1024", "--read", "17.9", "--root", tmp_path / "nowhere") == 2
    assert "keyturn init" in capsys.readouterr().err
