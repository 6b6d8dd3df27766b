"""`keyturn new`: the shop accepts the starter drop as it is, and nothing is overwritten."""

from __future__ import annotations

from pathlib import Path

import pytest

from samples import Run


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
