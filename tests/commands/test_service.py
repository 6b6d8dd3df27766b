"""`keyturn service`: who may install, and what a dry run prints."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from keyturn.commands import service
from samples import Run

Said = pytest.CaptureFixture[str]


def test_a_dry_run_prints_every_step_and_does_none(run: Run, tmp_path: Path, capsys: Said) -> None:
    assert run("service", "install", "--dry-run", "--into", tmp_path, "--with", "hooks") == 0
    said = capsys.readouterr().out
    for words in ("write", "hooks.conf", "systemd-sysusers", "systemd-tmpfiles", "enable keyturn.service"):
        assert words in said
    assert all(line.startswith("would ") for line in said.splitlines())
    assert run("service", "remove", "--dry-run", "--into", tmp_path) == 0
    assert list(tmp_path.iterdir()) == []


def test_on_this_machine_it_takes_root_and_a_systemd_that_runs(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    monkeypatch.setattr(service.installation, "install_steps", lambda *place: iter(()))
    monkeypatch.setattr(shutil, "which", lambda name: "/bin/true")
    for uid, booted, words in ((1000, True, "only root"), (0, False, "does not manage this machine")):
        monkeypatch.setattr(os, "geteuid", lambda uid=uid: uid)
        monkeypatch.setattr(service, "RUNNING_SYSTEMD", tmp_path if booted else tmp_path / "nothing")
        assert run("service", "install") == 2
        assert words in capsys.readouterr().err
    monkeypatch.setattr(shutil, "which", lambda name: None)
    assert run("service", "install") == 2
    assert "no systemd" in capsys.readouterr().err


def test_an_unknown_drop_in_is_wrong_use(run: Run, tmp_path: Path, capsys: Said) -> None:
    assert run("service", "install", "--dry-run", "--into", tmp_path, "--with", "network") == 2
    assert "cluster, hooks" in capsys.readouterr().err
