"""What the commands share: exit codes, the shop and its rules."""

from __future__ import annotations

import re
import signal
from pathlib import Path

import pytest

from keyturn.commands import console
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.shop.wrong_use import WrongUse


def test_the_exit_codes_are_those_of_the_readme() -> None:
    """A shell reports a program ended by a signal as 128 and the signal's number (POSIX, XCU 2.8.2)."""
    told = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (line,) = re.findall(r"^Exit codes: (.*)$", told, re.MULTILINE)
    codes = (console.DONE, console.REFUSED, console.WRONG_USE, console.OUR_BUG, console.INTERRUPTED)
    assert [int(number) for number in re.findall(r"(\d+) \w", line)] == list(codes)
    assert console.INTERRUPTED == 128 + signal.SIGINT


def test_a_shop_is_needed_or_only_used_where_there_is_one(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    assert console.shop_of(shop.root) == shop and console.shop_if_any(None) is None
    with pytest.raises(WrongUse):
        console.shop_of(None)
    monkeypatch.chdir(shop.root)
    assert console.shop_of(None) == console.shop_if_any(None) == shop


def test_the_rules_are_the_shops_where_there_is_a_shop(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    assert set(console.rules_of(None).radios) == set(rulebook.load().radios)
    assert set(console.rules_of(shop.root).radios) == set(rulebook.load().radios) | {"tiny"}
    monkeypatch.chdir(shop.inbox)
    assert "tiny" in console.rules_of(None).radios


def test_an_unknown_radio_is_refused_with_the_nearest(rules: Rulebook) -> None:
    assert console.profile_of(rules, "tiny").name == "tiny"
    with pytest.raises(Refused) as caught:
        console.profile_of(rules, "tinny")
    (reason,) = caught.value.reasons
    assert reason.code == "radio-unknown" and '"tiny"' in reason.line()


def test_a_name_is_printed_as_it_is_written(capsys: pytest.CaptureFixture[str]) -> None:
    """rich replaces ":car:" with a picture of one unless it is told not to (rich documentation, Console, Emoji)."""
    console.out.print("van:car:.png")
    console.err.print("van:car:.png")
    said = capsys.readouterr()
    assert (said.out, said.err) == ("van:car:.png\n", "van:car:.png\n")
