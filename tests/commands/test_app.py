"""The one place that turns outcomes into exit codes."""

from __future__ import annotations

import pytest

from keyturn.shop.folders import Shop
from samples import Drop, Run


@pytest.mark.parametrize("command", [("run",), ("status",), ("retry", "van")])
def test_without_a_shop_the_message_names_init(
    run: Run, command: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*command) == 2
    assert "keyturn init" in capsys.readouterr().err


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
