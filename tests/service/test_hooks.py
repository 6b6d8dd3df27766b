"""Hooks are run for each outcome, and a bad one never stops the work."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from loguru import logger

from keyturn.service import hooks
from keyturn.service.hooks import Hooks
from keyturn.shop.settings import HookSettings
from samples import until

KEEP = "import sys, pathlib; pathlib.Path(sys.argv[1]).write_bytes(sys.stdin.buffer.read())"


@pytest.fixture
def logged() -> Iterator[list[str]]:
    lines: list[str] = []
    sink = logger.add(lambda message: lines.append(message.record["message"]))
    yield lines
    logger.remove(sink)


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
        (sys.executable, "-c", "import time; time.sleep(600)"),
        (sys.executable, "-c", "import subprocess, time; subprocess.Popen(['sleep', '600']); time.sleep(600)"),
    ],
    ids=["missing", "fails", "hangs", "hangs with a child"],
)
def test_a_bad_hook_costs_nothing_but_a_line_that_names_it(command: tuple[str, ...]) -> None:
    assert hooks.run(command, b"x" * 1_000_000, seconds=0.5).startswith(f"the hook {command[0]} ")


def test_a_hook_need_not_listen() -> None:
    assert hooks.run((sys.executable, "-c", "import os; os.close(0)"), b"x" * 1_000_000, seconds=60) == ""


def test_of_a_failed_hook_the_last_line_of_its_errors_is_logged(logged: list[str]) -> None:
    said = "import sys; sys.stderr.write('Traceback:\\n  much\\nno network \\x1b[31m for mail\\n\\n'); sys.exit(1)"
    fault = hooks.run((sys.executable, "-c", said), b"", seconds=60)
    assert fault == f"the hook {sys.executable} ended with code 1: no network \N{REPLACEMENT CHARACTER}[31m for mail"
    assert logged == [fault]


def test_of_a_hook_that_hangs_the_last_line_is_logged_as_well() -> None:
    said = "import sys, time; sys.stderr.write('waiting for the mail server'); sys.stderr.flush(); time.sleep(600)"
    fault = hooks.run((sys.executable, "-c", said), b"", seconds=5)
    assert fault.endswith("took longer than 5 s and was ended: waiting for the mail server")


def test_a_hook_that_ends_well_says_nothing_whatever_it_prints(logged: list[str]) -> None:
    assert hooks.run((sys.executable, "-c", "import sys; sys.stderr.write('all well')"), b"{}", seconds=60) == ""
    assert logged == []


def test_a_hook_may_print_without_end_and_leave_a_program_behind() -> None:
    """A pipe that nobody reads holds 64 KiB (pipe(7)), and a child keeps it open after its parent has ended."""
    said = "import subprocess, sys; sys.stderr.write('x' * 5_000_000 + '\\nlast'); sys.stderr.flush();"
    said += "subprocess.Popen(['sleep', '600']); sys.exit(3)"
    processes: list[subprocess.Popen[bytes]] = []

    def popen(*args: Any, **named: Any) -> subprocess.Popen[bytes]:
        processes.append(subprocess.Popen(*args, **named))
        return processes[0]

    try:
        assert hooks.run((sys.executable, "-c", said), b"", 60, popen).endswith("ended with code 3: last")
    finally:
        os.killpg(processes[0].pid, signal.SIGKILL)


def test_what_is_wrong_with_a_hook_is_known_until_it_ends_well(tmp_path: Path) -> None:
    shop_hooks, switch = Hooks(), tmp_path / "network"
    settings = HookSettings(ready=("test", "-e", str(switch)), refused=("true",))
    shop_hooks.add("ready", {}, settings)
    shop_hooks.add("refused", {}, settings)
    until(lambda: shop_hooks.faults() == ("ready: the hook test ended with code 1",))
    switch.touch()
    shop_hooks.add("ready", {}, settings)
    until(lambda: shop_hooks.faults() == ())
    shop_hooks.close(timeout_s=60)


def test_a_slow_hook_never_blocks_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    go = threading.Event()
    monkeypatch.setattr(hooks, "run", lambda *args: "" if go.wait(60) else "in vain")
    shop_hooks = Hooks()
    for _ in range(2 * hooks.MOST_WAITING):
        shop_hooks.add("ready", {}, HookSettings(ready=("true",)))
    go.set()
    shop_hooks.close(timeout_s=60)
