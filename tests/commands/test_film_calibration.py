"""`keyturn calibrate --film`: what it stores, says and writes.

The films are series: `test_filmed_sticks` has real ones.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from film_series import read_series, write_film
from keyturn.calibrate import films
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from samples import Run

Said = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def series(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(films, "read_film", read_series)
    monkeypatch.chdir(tmp_path)


def test_films_are_learnt_into_the_shops_rules_with_a_page_and_a_picture(
    run: Run, shop: Shop, tmp_path: Path, capsys: Said
) -> None:
    """Plain frames take 100 ms, 14 ms to decode and 4 ms to draw: 118 ms on the first generation's player (AOSP)."""
    named = [write_film(tmp_path / f"start{n}.mp4", n, boot_ms=12_930 + 700 * n) for n in (0, 1)]
    assert run("calibrate", "tiny", "--film", *named, "--root", shop.root) == 0
    radio = rulebook.load(shop.rules).radios["tiny"]
    assert radio.boot.samples == pytest.approx((12.91, 13.61), abs=0.02)
    assert radio.filmed is not None and radio.filmed.interval_ms == pytest.approx(118, abs=0.5)
    assert radio.player.generations == ("first",)
    said = capsys.readouterr()
    assert "tiny: 2 starts on film at 10 fps" in said.out
    assert "2 added to 0 kept" in said.out and "reads it on SIGHUP" in said.out
    page = tmp_path / "calibration-tiny.html"
    assert "118.0 ms" in page.read_text(encoding="utf-8") and page.as_uri() in said.err.replace("\n", "")
    assert (tmp_path / "calibration-tiny.svg").read_text(encoding="utf-8").startswith("<svg")
    assert run("calibrate", "tiny", "--film", *named, "--out", "again.html", "--root", shop.root) == 0
    assert "0 added to 2 kept (0 older removed) in rules/radios/tiny.toml; 2 known already" in capsys.readouterr().out
    assert rulebook.load(shop.rules).radios["tiny"].boot.samples == radio.boot.samples


def test_films_that_cannot_be_read_are_all_named_and_nothing_is_stored(
    run: Run, shop: Shop, tmp_path: Path, capsys: Said
) -> None:
    before = (shop.rules / "radios" / "tiny.toml").read_bytes()
    good = write_film(tmp_path / "good.mp4", boot_ms=12_930)
    for name in ("one.mp4", "two.mp4"):
        (tmp_path / name).write_bytes(b"blurred")
    assert run("calibrate", "tiny", "--film", good, "one.mp4", "two.mp4", "--root", shop.root) == 1
    said = capsys.readouterr().err
    assert "one.mp4" in said and "two.mp4" in said and "prop the phone up" in said
    assert (shop.rules / "radios" / "tiny.toml").read_bytes() == before
    assert not list(tmp_path.glob("*.html"))


def test_two_films_of_one_name_are_told_apart(run: Run, shop: Shop, tmp_path: Path, capsys: Said) -> None:
    for folder in ("cold", "warm"):
        (tmp_path / folder).mkdir()
    one = write_film(tmp_path / "cold" / "start.mp4", 0, boot_ms=13_700)
    two = write_film(tmp_path / "warm" / "start.mp4", 1, boot_ms=12_930)
    assert run("calibrate", "tiny", "--film", one, two, "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert f"{one}: logo for" in said and f"{two}: logo for" in said


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--film", "gone.mp4"), "there is no file gone.mp4"),
        (("--film", "here.mp4", "--read", "17.9"), "--film goes without --read"),
        (("--film", "here.mp4", "--out", "page.txt"), "is no name for a page"),
    ],
)
def test_wrong_use_says_what_to_do(
    arguments: tuple[str, ...], told: str, run: Run, shop: Shop, tmp_path: Path, capsys: Said
) -> None:
    write_film(tmp_path / "here.mp4", boot_ms=12_930)
    assert run("calibrate", "tiny", *arguments, "--root", shop.root) == 2
    assert told in capsys.readouterr().err.replace("\n", " ")
