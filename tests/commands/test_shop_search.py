"""Where a command finds its shop: named, around the current folder, the installed service's."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from keyturn.commands import shop_search
from keyturn.shop.folders import Shop
from keyturn.shop.wrong_use import WrongUse
from samples import Run

Said = pytest.CaptureFixture[str]
COMMANDS = [("status",), ("doctor",), ("retry", "van"), ("run",), ("copy", "van")]
FOR_ALL = [
    ("radios",),
    ("new", "x"),
    ("check", "x"),
    ("inspect", "x"),
    ("flash", "x", "--fps", "5"),
    ("calibrate", "x"),
]


Install = Callable[[Path], None]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Install:
    """install(root): a unit is installed whose service runs on the shop `root`."""

    def write(root: Path) -> None:
        (tmp_path / "units").mkdir(exist_ok=True)
        text = f"[Service]\nExecStart=/opt/keyturn/bin/keyturn run --root '{root}'\n"
        (tmp_path / "units" / "keyturn.service").write_text(text)
        monkeypatch.setattr(shop_search, "UNIT_FOLDERS", (tmp_path / "units",))

    return write


def other_shop(tmp_path: Path) -> Shop:
    other = Shop(tmp_path / "other")
    other.create()
    return other


def test_the_current_folder_or_one_above_it_comes_before_the_service(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, install: Install
) -> None:
    install(other_shop(tmp_path).root)
    for place in (shop.root, shop.inbox, shop.rules / "radios"):
        monkeypatch.chdir(place)
        assert shop_search.found_shop() == shop
    monkeypatch.chdir(tmp_path)
    assert shop_search.found_shop() == other_shop(tmp_path)


def test_what_is_named_comes_first_and_the_environment_second(
    run: Run, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, install: Install, capsys: Said
) -> None:
    monkeypatch.chdir(other_shop(tmp_path).root)
    monkeypatch.setenv("KEYTURN_ROOT", str(shop.root))
    assert run("radios") == 0 and "tiny" in capsys.readouterr().out
    assert run("radios", "--root", other_shop(tmp_path).root) == 0 and "tiny" not in capsys.readouterr().out
    monkeypatch.delenv("KEYTURN_ROOT")
    monkeypatch.chdir("/")
    install(shop.root)
    assert run("radios") == 0 and "tiny" in capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_without_a_shop_it_is_wrong_use_in_plain_words(run: Run, capsys: Said, command: tuple[str, ...]) -> None:
    assert run(*command) == 2
    said = capsys.readouterr().err
    assert "no shop was found" in said and "--root or KEYTURN_ROOT" in said and "keyturn init FOLDER" in said


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_no_new_shop_is_proposed_beside_a_real_one(
    run: Run, shop: Shop, tmp_path: Path, install: Install, capsys: Said, command: tuple[str, ...]
) -> None:
    (tmp_path / "no-shop").mkdir()
    assert run(*command, "--root", tmp_path / "no-shop") == 2
    said = capsys.readouterr().err
    assert "no-shop is not a shop" in said and "keyturn init" in said
    install(shop.root)
    assert run(*command, "--root", tmp_path / "no-shop") == 2
    said = capsys.readouterr().err
    assert str(shop.root) in said and "init" not in said


@pytest.mark.parametrize("command", COMMANDS + FOR_ALL, ids=" ".join)
def test_a_root_that_is_no_shop_is_wrong_use_everywhere(
    run: Run, tmp_path: Path, capsys: Said, command: tuple[str, ...]
) -> None:
    assert run(*command, "--root", tmp_path / "gone") == 2
    assert "gone is not a folder" in capsys.readouterr().err
    assert not (tmp_path / "gone").exists()


def test_a_folder_of_rules_alone_serves_the_commands_that_need_no_more(
    run: Run, shop: Shop, tmp_path: Path, capsys: Said
) -> None:
    place = tmp_path / "rules-alone"
    shutil.copytree(shop.rules, place / "rules")
    assert run("radios", "--root", place) == 0 and "tiny" in capsys.readouterr().out
    assert run("status", "--root", place) == 2


def test_a_shop_that_lacks_a_folder_is_still_a_shop(run: Run, shop: Shop, capsys: Said) -> None:
    shop.rejects.rmdir()
    assert run("status", "--root", shop.root) == 2
    assert f"{shop.rejects} is not there" in capsys.readouterr().err


def test_a_unit_whose_shop_is_not_there_is_named(tmp_path: Path, install: Install) -> None:
    install(tmp_path / "unmounted")
    with pytest.raises(WrongUse, match=r"keyturn\.service names .*unmounted, and no shop is there"):
        shop_search.found_shop()
    assert shop_search.any_shop() is None
    with pytest.raises(WrongUse, match=r"keyturn\.service names .*unmounted: is that the shop"):
        shop_search.named_shop(tmp_path)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user")
def test_a_shop_that_is_closed_to_the_user_is_said_to_be(shop: Shop) -> None:
    """A shop is closed to all but its group. pytest's own folders are closed too, so the shop is moved."""
    code = (
        "import os, sys; from pathlib import Path; from keyturn.commands import app, shop_search\n"
        "from keyturn.commands import status; from keyturn.shop import settings\n"  # this user may not read the library
        "import importlib.metadata, logging\n"
        "os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "shop_search.UNIT_FOLDERS = (Path(sys.argv.pop()),)\n"
        "assert shop_search.any_shop() is None\n"
        "app.main()"
    )
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        place.chmod(0o755)
        closed = shop.root.rename(place / "shop")
        (place / "keyturn.service").write_text(f"[Service]\nExecStart=/bin/keyturn run --root {closed}\n")
        for named in ((), ("--root", str(closed))):
            command = [sys.executable, "-c", code, "status", *named, folder]
            said = subprocess.run(command, capture_output=True, text=True, cwd="/", check=False)
            assert said.returncode == 2 and f"{closed}" in said.stderr and "is closed to you" in said.stderr, (
                said.stderr
            )
