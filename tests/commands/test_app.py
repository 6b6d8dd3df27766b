"""The commands, as their users call them: what they print and how they exit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from keyturn.shop.folders import Shop
from samples import Drop, Run


def test_a_starter_drop_is_accepted_as_it_stands(run: Run, tmp_path: Path) -> None:
    assert run("new", tmp_path / "first", "--radio", "compact-800x480") == 0
    assert run("check", tmp_path / "first") == 0
    assert (tmp_path / "first" / "job.schema.json").is_file()


def test_a_starter_never_overwrites(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    assert run("new", tmp_path) == 2
    assert "not empty" in capsys.readouterr().err


def test_a_starter_for_an_unknown_radio_is_refused(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("new", tmp_path / "x", "--radio", "tall-768x1042") == 1
    assert '"tall-768x1024"' in capsys.readouterr().err


def test_make_writes_the_revision_and_says_where(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("make", drop(), "--out", tmp_path / "out", "--root", shop.root) == 0
    said = capsys.readouterr().out
    folder = tmp_path / "out" / "fern-hollow-mobile-library"
    assert str(folder / "van-r1" / "usb") in said
    assert str(folder / "proof.html") in said
    assert (folder / "van-r1" / "usb" / "bootanimation.zip").is_file()


def test_a_refused_drop_exits_1_with_every_reason(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    root = drop(manifest='customer = "C"\nradio = "tinny"\nbackgroud = "#000000"\n')
    assert run("check", root, "--root", shop.root) == 1
    said = capsys.readouterr().err
    assert "tinny" in said and "backgroud" in said


def test_check_as_json_is_for_programs(run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", drop("good"), "--root", shop.root, "--json") == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True
    assert run("check", drop("bad", manifest="x = 1"), "--root", shop.root, "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert found["ok"] is False
    assert set(found["reasons"][0]) == {"code", "kind", "file", "field", "what", "mend"}


def test_check_keeps_nothing(run: Run, shop: Shop, drop: Drop, tmp_path: Path) -> None:
    root = drop()
    before = sorted(tmp_path.rglob("*"))
    assert run("check", root, "--root", shop.root) == 0
    assert sorted(tmp_path.rglob("*")) == before


def test_init_sets_up_a_shop_and_leaves_a_settings_file_alone(run: Run, tmp_path: Path) -> None:
    assert run("init", tmp_path / "shop") == 0
    (tmp_path / "shop" / "keyturn.toml").write_text("workers = 1\n")
    assert run("init", tmp_path / "shop") == 0
    assert (tmp_path / "shop" / "keyturn.toml").read_text() == "workers = 1\n"
    assert run("status", "--root", tmp_path / "shop") == 0


@pytest.mark.parametrize("command", [("run",), ("status",), ("retry", "van")])
def test_without_a_shop_there_is_a_clear_word(
    run: Run, command: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*command) == 2
    assert "keyturn init" in capsys.readouterr().err


def test_status_tells_what_waits_and_what_was_refused(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    drop("waiting").rename(shop.inbox / "waiting")
    assert run("status", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "not running" in said and "waiting" in said
    assert run("status", "--root", shop.root, "--json") == 0
    assert json.loads(capsys.readouterr().out)["waiting"][0]["name"] == "waiting"


def test_retry_puts_a_refused_drop_back(run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]) -> None:
    drop("van").rename(shop.rejects / "van")
    assert run("retry", "nothing", "--root", shop.root) == 2
    assert "van" in capsys.readouterr().err
    assert run("retry", "van", "--root", shop.root) == 0
    assert (shop.inbox / "van" / "job.toml").is_file()


@pytest.mark.parametrize("name", ["../inbox", ".", "..", "a/b"])
def test_retry_takes_only_a_folder_of_rejects(run: Run, shop: Shop, name: str) -> None:
    assert run("retry", name, "--root", shop.root) == 2


def test_radios_are_listed_for_people_and_for_programs(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("radios") == 0
    assert "tall-768x1024" in capsys.readouterr().out
    assert run("radios", "--json") == 0
    assert json.loads(capsys.readouterr().out)["tall-768x1024"]["panel"]["height"] == 1024


def test_flash_says_what_the_labels_say(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """WCAG 2.2, 2.3.1: black and white in turn at 30 frames a second are 15 flashes a second; 3 are allowed."""
    for name, grey in (("still", lambda n: 90), ("strobe", lambda n: 255 * (n % 2))):
        (tmp_path / name).mkdir()
        for number in range(30):
            Image.new("RGB", (64, 48), (grey(number),) * 3).save(tmp_path / name / f"{number:03d}.png")
    assert run("flash", tmp_path / "still", "--fps", 30, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["pass"] is True and found["general_max_per_s"] == 0
    assert set(found) == {"pass", "general_max_per_s", "red_max_per_s", "worst_at_s"}
    assert run("flash", tmp_path / "strobe", "--fps", 30, "--screen", "1024x768", "--field-px", "341x256") == 1
    assert "fails" in capsys.readouterr().out
    assert run("flash", tmp_path / "strobe", "--fps", 30, "--screen", "wide") == 2


def test_wrong_use_exits_2(run: Run) -> None:
    assert run("make") == 2
    assert run("no-such-command") == 2


def test_our_own_bug_exits_3(run: Run, monkeypatch: pytest.MonkeyPatch, drop: Drop, shop: Shop) -> None:
    def bug(*args: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("keyturn.commands.make_by_hand.check", bug)
    assert run("check", drop(), "--root", shop.root) == 3


def test_interrupted_exits_130(run: Run, monkeypatch: pytest.MonkeyPatch, drop: Drop, shop: Shop) -> None:
    def interrupt(*args: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("keyturn.commands.make_by_hand.check", interrupt)
    assert run("check", drop(), "--root", shop.root) == 130


def test_a_missing_drop_is_refused_plainly(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", tmp_path / "ghost") == 1
    assert "no such file or folder" in capsys.readouterr().err


def test_hostile_names_are_printed_as_text(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    """ECMA-48: a terminal obeys control sequences; none may come through from a name."""
    drop("x").rename(shop.inbox / "[red]\x1b[31mvan\u202e")
    assert run("status", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said and "\u202e" not in said
    assert "[red]" in said
