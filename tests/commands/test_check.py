"""`keyturn check`: every reason, for people and for programs; nothing is kept."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path

import pytest

from keyturn.shop.folders import Shop
from samples import Drop, Run, picture, with_rows
from stock_samples import stock_drop


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
    assert set(found["reasons"][0]) == {"code", "kind", "file", "field", "what", "mend", "exhibits"}


def test_stock_files_are_checked_as_the_shop_would_keep_them(
    run: Run, shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drop = stock_drop(tmp_path / "stock")
    page = tmp_path / "look.html"
    assert run("check", drop, "--out", page, "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "stock-logo.png as logo.png" in said and "outbox/fern-hollow-mobile-library/restore-tiny" in said
    assert not page.exists() and not list(shop.outbox.glob("*/restore-*"))
    assert run("check", drop, "--json", "--root", shop.root) == 0 and json.loads(capsys.readouterr().out)["ok"]
    (drop / "other.png").write_bytes((drop / "stock-logo.png").read_bytes())
    (drop / "stock-logo.png").rename(drop / "another.png")
    assert run("check", drop, "--root", shop.root) == 1 and "stock logo" in capsys.readouterr().err


def test_check_keeps_nothing(run: Run, shop: Shop, drop: Drop, tmp_path: Path) -> None:
    root = drop()
    before = sorted(tmp_path.rglob("*"))
    assert run("check", root, "--root", shop.root) == 0
    after = [path for path in tmp_path.rglob("*") if shop.kept not in (path, *path.parents)]  # finished frames
    assert sorted(after) == before


def test_a_missing_drop_is_refused_plainly(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", tmp_path / "ghost") == 1
    assert "no such file or folder" in capsys.readouterr().err


def test_show_writes_one_page_with_the_player_names_it_and_asks_for_nothing(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "looks" / "van.html"
    page.parent.mkdir()
    root = drop()
    assert run("check", root, "--root", shop.root, "--show", "--out", page) == 0
    assert page.as_uri() in capsys.readouterr().err
    text = page.read_text(encoding="utf-8")
    assert "A look before it is dropped" in text and "data-play" in text
    assert 'class="signoff"' not in text and "Please look at it and answer" not in text
    assert [path.name for path in page.parent.iterdir()] == ["van.html"]
    assert not list(shop.outbox.glob("*/")), "nothing is published"


def test_show_names_the_page_after_the_drop_in_the_current_folder(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert run("check", drop("van-two"), "--root", shop.root, "--show") == 0
    assert [path.name for path in Path().iterdir()] == ["van-two-look.html"]


def test_a_refused_drop_gets_a_page_with_the_pictures_in_question(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path
) -> None:
    root, page = drop(), tmp_path / "look.html"
    pictures = sorted(root.rglob("*.png"))
    twin = pictures[0].with_name(f"{pictures[0].stem} (1).png")
    twin.write_bytes(pictures[-1].read_bytes())
    assert run("check", root, "--root", shop.root, "--out", page) == 1
    text = page.read_text(encoding="utf-8")
    assert "it would be refused" in text and "Nothing has been handed in" in text
    assert text.count("<figure>") == 2 and twin.name in text


def test_what_the_crop_cuts_off_is_marked_and_the_line_to_paste_stands_alone(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path
) -> None:
    root, page = drop(), tmp_path / "look.html"
    for number, path in enumerate(sorted(root.rglob("*.png"))):
        picture((480, 64), number).resize((120, 64)).save(path)
    assert run("check", root, "--root", shop.root, "--out", page) == 0
    text = page.read_text(encoding="utf-8")
    assert "Please look at this" in text and "the dark rest is cut off" in text
    line, *again = re.findall(r'<pre class="paste" tabindex="0">(.*)</pre>', text)
    assert again == [line], "among the workshop's findings"
    job = root / "job.toml"
    job.write_text(f"{html.unescape(line)}\n{job.read_text()}")
    assert run("check", root, "--root", shop.root, "--out", page) == 0
    assert "Please look at this" not in page.read_text(encoding="utf-8"), "the line to paste answers it"


@pytest.mark.parametrize("name", ["look.png", "missing/look.html", "van/look.html"])
def test_a_page_that_cannot_be_where_it_is_named_is_told_before_any_work(
    run: Run, shop: Shop, drop: Drop, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    root = drop("van")
    assert run("check", root, "--root", shop.root, "--out", root.parent / name) == 2
    assert "--out" in capsys.readouterr().err
    assert not (root.parent / name).exists()


def test_check_tells_every_faulty_row_of_a_fleet(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = ["customer;job;radio", "Fern;one;tiny", "Fern;two;tinny", "Ada;one;tinny"]
    root = with_rows(drop("vans", manifest='each = "fleet.csv"\n'), *rows)
    assert run("check", root, "--root", shop.root, "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert [reason["field"] for reason in found["reasons"] if reason["kind"] == "refuse"] == ["C3", "C4"]
    (root / "job.toml").write_text('each = "fleet.csv"\neach_good = true\n')
    assert run("check", root, "--root", shop.root) == 1
    said = capsys.readouterr()
    assert "one for tiny" in said.out and "C4" in said.err
    with_rows(root, *rows[:2])
    assert run("check", root, "--root", shop.root) == 0
