"""`keyturn radios`: the list, for people and for programs."""

from __future__ import annotations

import json

import pytest

from samples import Run


def test_radios_are_listed_for_people_and_for_programs(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("radios") == 0
    assert "tall-768x1024" in capsys.readouterr().out
    assert run("radios", "--json") == 0
    assert json.loads(capsys.readouterr().out)["tall-768x1024"]["panel"]["height"] == 1024
