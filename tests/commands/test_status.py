"""`keyturn status`: what waits and what was refused, for people and for programs."""

from __future__ import annotations

import json

import pytest

from keyturn.shop.folders import Shop
from samples import Drop, Run


def test_status_tells_what_waits_and_what_was_refused(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    drop("waiting").rename(shop.inbox / "waiting")
    assert run("status", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "not running" in said and "waiting" in said
    assert run("status", "--root", shop.root, "--json") == 0
    assert json.loads(capsys.readouterr().out)["waiting"][0]["name"] == "waiting"


def test_hostile_names_are_printed_as_text(
    run: Run, shop: Shop, drop: Drop, capsys: pytest.CaptureFixture[str]
) -> None:
    """ECMA-48: a terminal obeys control sequences; none may come through from a name."""
    drop("x").rename(shop.inbox / "[red]\x1b[31mvan\u202e")
    assert run("status", "--root", shop.root) == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said and "\u202e" not in said
    assert "[red]" in said
