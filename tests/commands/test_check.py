"""`keyturn check`: every reason, for people and for programs; nothing is kept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from keyturn.shop.folders import Shop
from samples import Drop, Run


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


def test_a_missing_drop_is_refused_plainly(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", tmp_path / "ghost") == 1
    assert "no such file or folder" in capsys.readouterr().err
