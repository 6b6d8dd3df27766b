"""Each command waits for its own imports alone."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from keyturn import __version__
from keyturn.commands.on_demand import OnDemand
from samples import Run

HEAVY = ("numpy", "PIL", "jinja2", "babel", "loguru", "pebble", "pydantic_settings", "keyturn.pipeline")


def imported_by(*arguments: str) -> set[str]:
    """Return the names of all modules in a fresh process once the command with these arguments is done."""
    code = (
        "import atexit, json, sys\n"
        "atexit.register(lambda: print(json.dumps(list(sys.modules)), file=sys.stderr))\n"
        "from keyturn.__main__ import main\n"
        f"sys.argv = {['keyturn', *arguments]!r}\n"
        "main()\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return set(json.loads(ran.stderr.splitlines()[-1]))


def test_the_version_is_told_without_any_of_the_program() -> None:
    modules = imported_by("--version")
    assert modules.isdisjoint((*HEAVY, "typer", "pydantic"))
    assert {name for name in modules if name.startswith("keyturn.")} == {"keyturn.__main__"}


@pytest.mark.parametrize("asked", [("--version",), ("--version", "status")])
def test_the_version_is_the_package_s(asked: tuple[str, ...]) -> None:
    """Alone it is told by the module itself, beside other words by the program."""
    ran = subprocess.run([sys.executable, "-m", "keyturn", *asked], capture_output=True, text=True, check=True)
    assert ran.stdout == f"keyturn {__version__}\n"


def test_status_waits_for_no_templates_and_pictures(tmp_path: Path) -> None:
    assert imported_by("init", str(tmp_path / "shop"))
    modules = imported_by("status", "--root", str(tmp_path / "shop"))
    assert "keyturn.commands.status" in modules
    assert modules.isdisjoint(
        (*HEAVY, "multiprocessing", "keyturn.pages.board", "keyturn.shop.rulebook", "keyturn.outbox.ledger")
    )


def test_what_a_command_logs_looks_the_same_where_nothing_was_logged_before(tmp_path: Path) -> None:
    """The log is set up when the library that writes it is imported, here for a refused drop's spoilt record."""
    shop = tmp_path / "shop"
    keyturn = [sys.executable, "-m", "keyturn"]
    subprocess.run([*keyturn, "init", str(shop)], capture_output=True, check=True)
    (shop / "rejects" / "van").mkdir()
    (shop / "rejects" / "van" / "REJECTED.json").write_text("{")
    ran = subprocess.run([*keyturn, "status", "--root", str(shop)], capture_output=True, text=True, check=True)
    (line,) = ran.stderr.splitlines()
    assert re.match(r"\d\d:\d\d:\d\d WARNING  .*REJECTED.json is not readable and is left alone", line)


def test_collection_of_rubbish_waits_for_the_imports_alone() -> None:
    """gc.freeze: what was imported is looked at no more, and what a command leaves behind is collected."""
    code = (
        "import gc, sys\n"
        "from keyturn.__main__ import main\n"
        "from keyturn.commands import radios\n"
        "radios.rules_of = lambda root: sys.exit(f'{gc.isenabled()} {gc.get_freeze_count() > 10_000}')\n"
        "sys.argv = ['keyturn', 'radios']\n"
        "main()\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ran.stderr == "True True\n"


def test_a_command_is_imported_when_it_is_asked_for() -> None:
    modules = imported_by("init", "--help")
    assert "keyturn.commands.init" in modules
    assert modules.isdisjoint({"keyturn.commands.check", "keyturn.commands.run", "keyturn.commands.demo"})


def test_help_lists_each_command_with_its_line(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--help") == 0
    said = " ".join(capsys.readouterr().out.split())
    for line in ("Set up a shop", "Say what waits", "Make one drop, without a shop", "Install the service on"):
        assert line in said


def test_a_slip_of_the_finger_is_told_the_nearest_command(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("statis") == 2
    assert "status" in capsys.readouterr().err


def test_the_names_are_known_before_any_command_is() -> None:
    commands = OnDemand(["init", "no_such_module"])
    assert list(commands) == ["init", "no_such_module"] and len(commands) == 2
    assert commands["init"] is commands["init"]
    with pytest.raises(KeyError):
        commands["other"]
