"""Hooks are run for each outcome, and a bad one never stops the work."""

from __future__ import annotations

import json
import sys
import threading
from pathlib import Path

import pytest

from keyturn.service import hooks
from keyturn.service.hooks import Hooks
from keyturn.shop.settings import HookSettings

KEEP = "import sys, pathlib; pathlib.Path(sys.argv[1]).write_bytes(sys.stdin.buffer.read())"


def test_the_command_gets_the_record_as_json_on_stdin(tmp_path: Path) -> None:
    told = tmp_path / "told.json"
    shop_hooks = Hooks()
    settings = HookSettings(ready=(sys.executable, "-c", KEEP, str(told)))
    shop_hooks.add("ready", {"path": "outbox/c/ferry-r1", "job": {"customer": "Größe 'x' $(rm)"}}, settings)
    shop_hooks.close(timeout_s=60)
    found = json.loads(told.read_bytes())
    assert found == {"event": "ready", "path": "outbox/c/ferry-r1", "job": {"customer": "Größe 'x' $(rm)"}}


def test_without_a_command_nothing_runs() -> None:
    before = threading.active_count()
    Hooks().add("refused", {}, HookSettings())
    assert threading.active_count() == before


@pytest.mark.parametrize(
    "command",
    [
        ("/no/such/program",),
        (sys.executable, "-c", "raise SystemExit(7)"),
        (sys.executable, "-c", "import os; os.close(0)"),
        (sys.executable, "-c", "import time; time.sleep(600)"),
        (sys.executable, "-c", "import subprocess, time; subprocess.Popen(['sleep', '600']); time.sleep(600)"),
    ],
    ids=["missing", "fails", "does not listen", "hangs", "hangs with a child"],
)
def test_a_bad_hook_costs_nothing_but_a_line_in_the_log(command: tuple[str, ...]) -> None:
    hooks.run(command, b"x" * 1_000_000, seconds=0.5)


def test_a_slow_hook_never_blocks_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    go = threading.Event()
    monkeypatch.setattr(hooks, "run", lambda *args: go.wait(60))
    shop_hooks = Hooks()
    for _ in range(2 * hooks.MOST_WAITING):
        shop_hooks.add("ready", {}, HookSettings(ready=("true",)))
    go.set()
    shop_hooks.close(timeout_s=60)
