"""`keyturn radios learn`: the draft passes doctor, and jobs made for the learnt radio satisfy `inspect`."""

from __future__ import annotations

import tomllib
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from keyturn.commands import doctor, make_by_hand, service_health
from keyturn.commands.archive_reader import read_bundle
from keyturn.commands.finding import Health
from keyturn.commands.inspect import verdict_on
from keyturn.package.bmp_writer import bmp
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.bmp_layout import BmpLayout
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Kind, only
from samples import Drop, Run
from stock_samples import STOCKS, encoded, noise

MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "dash"\n'


@pytest.fixture(autouse=True)
def no_systemd(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hide the systemd of the machine that runs the tests."""
    monkeypatch.setattr(service_health, "_unit", lambda name: "")


@pytest.mark.parametrize("name", STOCKS)
def test_a_learnt_radio_takes_jobs_that_inspect_finds_nothing_wrong_with(
    name: str, shop: Shop, run: Run, drop: Drop, bench: Bench, tmp_path: Path
) -> None:
    """`inspect` follows the published player and is checked against it; here it judges what was made by the draft."""
    stock = STOCKS[name].write(tmp_path / "stock.zip")
    assert run("radios", "learn", stock, "--name", "dash", "--root", shop.root) == 0
    assert not [f for f in doctor.examine(shop) if f.health is Health.ILL]
    rules = rulebook.load(shop.rules)
    made = make_by_hand.make(drop(frames=4, manifest=MANIFEST), tmp_path / "out", replace(bench, rules=rules))
    assert made.folder
    animation = made.folder / "usb" / "bootanimation.zip"
    verdict = verdict_on(read_bundle(animation, rules.intake.caps), rules, rules.radios["dash"])
    assert verdict.shown and not only(verdict.reasons, Kind.REFUSE)
    assert animation.stat().st_size <= stock.stat().st_size
    of_stock = verdict_on(read_bundle(stock, rules.intake.caps), rules, rules.radios["dash"])
    refused = {reason.code for reason in only(of_stock.reasons, Kind.REFUSE)}
    assert of_stock.shown and refused <= {"home-screen-held"}, "its own stock animation suits the radio"


def test_what_was_seen_what_was_guessed_and_what_only_a_stick_settles_is_said(
    shop: Shop, run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stock = STOCKS["many parts"].write(tmp_path / "stock.zip")
    logo = tmp_path / "stock-logo.bmp"
    logo.write_bytes(bmp(np.zeros((64, 48, 3), np.uint8), BmpLayout(16, False, "info")))
    assert run("radios", "learn", stock, "--logo", logo, "--name", "dash", "--root", shop.root) == 0
    said = capsys.readouterr().out
    for words in (
        "seen: 48 x 64, 24 fps, rows of type p",
        "seen: a logo of BMP, 16 bit, bottom-up, 6,210 bytes",
        "guessed from the radio tiny",
        "whether a pause counts frames or seconds",
        "which generation plays",
        f"keyturn calibrate dash --root {shop.root}",
        "48 x 64, 24 fps",
        "part 13 (part12): 2 frames, until booted, pause 4",
    ):
        assert words in said, words
    table = tomllib.loads((shop.rules / "radios" / "dash.toml").read_text(encoding="utf-8"))
    assert (table["panel"]["bits"], table["logo"]["exact_bytes"]) == (16, 6210)


def test_nothing_is_overwritten(shop: Shop, run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stock = STOCKS["plain"].write(tmp_path / "stock.zip")
    before = (shop.rules / "radios" / "tiny.toml").read_bytes()
    assert run("radios", "learn", stock, "--name", "tiny", "--root", shop.root) == 2
    assert "choose another --name" in capsys.readouterr().err
    assert (shop.rules / "radios" / "tiny.toml").read_bytes() == before


def test_files_that_teach_nothing_leave_nothing(
    shop: Shop, run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken, deflated = tmp_path / "broken.zip", tmp_path / "deflated.zip"
    broken.write_bytes(b"PK\x03\x04 half of a zip")
    with zipfile.ZipFile(deflated, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("desc.txt", "48 64 12\np 0 0 part0\n")
        archive.writestr("part0/0001.png", encoded(noise()))
    for path, code, words in (
        (broken, 1, "is no zip"),
        (deflated, 1, "is compressed"),
        (tmp_path / "missing.zip", 2, "is not a file"),
    ):
        assert run("radios", "learn", path, "--name", "dash", "--root", shop.root) == code
        assert words in capsys.readouterr().err
    assert not (shop.rules / "radios" / "dash.toml").exists()


def test_what_no_player_shows_of_the_stock_files_is_said(
    shop: Shop, run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = replace(STOCKS["loop alone"], parts={"part0": STOCKS["loop alone"].parts["part0"] | {"notes.txt": b"spring"}})
    stock = odd.write(tmp_path / "stock.zip")
    assert run("radios", "learn", stock, "--name", "dash", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "No published player shows the stock animation as it stands" in said and "part0/notes.txt" in said


def test_names_in_the_archive_are_printed_as_plain_text(
    shop: Shop, run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = "a[/x]\x1b[31m\u202ez"
    files = STOCKS["loop alone"].parts["part0"] | {f"{name}.txt": b"spring"}
    stock = replace(STOCKS["loop alone"], parts={"part0": files}).write(tmp_path / f"{name.replace('/', '')}.zip")
    assert run("radios", "learn", stock, "--name", "dash", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "[/x]" in said and not {"\x1b", "\u202e"} & set(said)
    assert not {"\x1b", "\u202e"} & set((shop.rules / "radios" / "dash.toml").read_text(encoding="utf-8"))
