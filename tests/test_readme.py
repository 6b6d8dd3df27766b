"""Every example and command that README.md prints is run as it is printed, as far as a test can run it.

A fenced block is picked by words that stand in it. One that no test picks fails the last test here.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from typer.main import get_command

from keyturn.commands import app
from keyturn.manifest.models import Manifest
from keyturn.outbox import shop_state
from keyturn.service import apprise_sending
from keyturn.shop import rulebook, settings
from keyturn.shop.folders import Shop
from keyturn.shop.shop_fonts import own_typeface
from samples import Run, picture, until, with_rows, with_tables
from shop_runs import run_until_quiet
from stock_samples import STOCKS, stock_drop

CHECKOUT = Path(__file__).parents[1]
README = (CHECKOUT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
SHOP = "/srv/keyturn"

TWO_LINES = 'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"'
ART = {
    TWO_LINES: (TWO_LINES, ["logo.png", "0001.png", "0002.png", "0003.png"]),
    'job = "van-two"': ("", ["logo.png", *(f"lamps/{number:04d}.png" for number in range(1, 49))]),
    "ferry.png": (TWO_LINES, ["lake.png", "ferry.png"]),
    "brand.ttf": (TWO_LINES, ["logo.png", "brand.ttf"]),
    "there_and_back": (TWO_LINES, [*(f"glow/{number}.png" for number in range(1, 9)), "hills.png", "night.png"]),
    "pan = {": (TWO_LINES, ["view.png"]),
    "leaf.gif": (TWO_LINES, ["leaf.gif"]),
    "van-sheet.png": (TWO_LINES, ["van-sheet.png"]),
}
"""For each example of a job.toml: what stands before its parts, and the art that it names."""

COMMANDS = (
    "keyturn demo",
    "pytest",
    "keyturn make my-drop",
    "keyturn init",
    "keyturn service install",
    "dash-1024x600",
    "[inbox]",
    "[notify]",
    "bmp_rows",
    "radios learn",
    "\nstock = true",
    "fleet.csv",
)


def block(words: str) -> str:
    """Return the one fenced block that holds `words`."""
    (found,) = [text for _, text in BLOCKS if words in text]
    return found


def commands(words: str, **names: str | Path) -> list[list[str]]:
    """Return the block's lines as words of a command line, without comments, each name replaced by its value."""
    lines = [shlex.split(line, comments=True) for line in block(words).splitlines()]
    replaced = {name.replace("_", "-"): str(value) for name, value in names.items()}
    return [[replaced.get(word, word) for word in line] for line in lines]


@pytest.fixture
def small(shop: Shop) -> Shop:
    """A shop whose radios have panels of a sixteenth, so that examples are soon made; all else is as it ships."""
    for path in (rulebook.SHIPPED / "radios").glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        text = re.sub(
            r"^(width|height) = (\d+)", lambda found: f"{found[1]} = {int(found[2]) // 4}", text, flags=re.MULTILINE
        )
        (shop.rules / "radios" / path.name).write_text(text, encoding="utf-8")
    return shop


def draw(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    number = int(re.sub(r"\D", "", path.stem) or 1)
    if path.suffix == ".ttf":
        shutil.copy(own_typeface(), path)
    elif path.suffix == ".gif":
        frames = [picture((192, 256), n) for n in range(1, 31)]
        frames[0].save(path, save_all=True, append_images=frames[1:], duration=100)
    elif path.stem in ("ferry", *(str(n) for n in range(1, 9))):
        shape = Image.new("RGBA", (192, 256))
        shape.paste((90, 110, 100, 255), (20, 20 + 4 * number, 120, 90 + 4 * number))
        shape.save(path)
    elif path.stem == "van-sheet":
        picture((8 * 48 + 7 * 2, 4 * 64 + 3 * 2), number).save(path)
    else:
        picture((384, 512), number).save(path)


# -- for artists ------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ART)
def test_a_drop_with_the_example_as_its_manifest_is_accepted(
    run: Run, small: Shop, tmp_path: Path, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    head, art = ART[words]
    text = block(words)
    drop = tmp_path / "van-two"
    for name in art:
        draw(drop / name)
    (drop / "job.toml").write_text(text if head in text else f"{head}\n{text}", encoding="utf-8")
    assert run("check", drop, "--root", small.root) == 0, capsys.readouterr().err


def test_the_line_that_is_commented_out_may_be_said() -> None:
    text = re.sub(r"^# (hold_screen = )", r"\1", block('job = "van-two"'), flags=re.MULTILINE)
    assert Manifest.model_validate(tomllib.loads(text)).part[0].hold_screen == "why"


def test_a_fleet_with_the_example_is_made_row_by_row(run: Run, small: Shop, tmp_path: Path) -> None:
    root = tmp_path / "vans"
    draw(root / "lake.png")
    (root / "job.toml").write_text(block("fleet.csv"), encoding="utf-8")
    with_rows(root, "vehicle;radio;greeting", "Van 1;wide-1024x600;Καλημέρα", "Van 2;compact-800x480;Hello {there}")
    assert run("make", root, "--out", tmp_path / "ready", "--root", small.root) == 0
    assert sorted(path.parent.name for path in tmp_path.glob("ready/*/*/job.json")) == ["van-1-r1", "van-2-r1"]


def test_an_artist_starts_checks_and_previews_a_drop(
    run: Run, small: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("KEYTURN_ROOT", str(small.root))  # for its small panels alone
    for program, *arguments in commands("keyturn make my-drop"):
        assert (program, run(*arguments)) == ("keyturn", 0), capsys.readouterr().err
    (sheet,) = Path("preview").glob("*/proof.html")
    assert str(sheet) in capsys.readouterr().out
    named = (tmp_path / "my-drop" / "job.toml").read_text(encoding="utf-8").splitlines()[0]
    assert named == "#:schema ./job.schema.json" and (tmp_path / "my-drop" / "job.schema.json").is_file()


# -- for operators ----------------------------------------------------------------------------------


def test_an_operator_sets_up_runs_asks_and_examines_a_shop(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = tmp_path / "srv"
    lines = [[word.replace(SHOP, str(root)) for word in line] for line in commands("keyturn init")]
    assert [line[:2] for line in lines] == [["keyturn", name] for name in ("init", "run", "status", "doctor")]
    assert run(*lines[0][1:]) == 0
    with subprocess.Popen([sys.executable, "-m", *lines[1]], stderr=subprocess.DEVNULL) as service:
        try:
            until(lambda: (state := shop_state.read_state(Shop(root))) is not None and state.running)
            assert [run(*line[1:]) for line in lines[2:]] == [0, 0]
        finally:
            service.terminate()
    assert service.returncode == 0
    assert "Service: running" in capsys.readouterr().out


@pytest.fixture
def installed(tmp_path: Path) -> Iterator[Any]:
    """A function that runs a block's lines in a shell, with its folders and the programs of systemd put aside.

    Installing packages needs a registry, users and units need root and systemd: `tests/test_unit_files.py` and
    `tests/faults/test_under_systemd.py` do that. Here each such program notes its arguments.
    """
    programs, machine, notes = tmp_path / "bin", tmp_path / "machine", tmp_path / "notes"
    programs.mkdir()
    (machine / "srv" / "keyturn").mkdir(parents=True)
    (machine / "opt" / "keyturn" / "bin").mkdir(parents=True)
    stubs = [programs / name for name in ("systemd-sysusers", "systemd-tmpfiles", "systemctl", "python3")]
    for stub in [*stubs, *(machine / "opt" / "keyturn" / "bin" / name for name in ("pip", "keyturn"))]:
        stub.write_text(f'#!/bin/sh\necho "${{0##*/}} $*" >> {shlex.quote(str(notes))}\n', encoding="utf-8")
        stub.chmod(0o755)

    def shell(text: str) -> tuple[Path, list[str]]:
        notes.write_text("", encoding="utf-8")
        script = re.sub(r"(?<![\w.])/(etc|opt|srv)/", rf"{machine}/\1/", text)
        told = subprocess.run(
            ["bash", "-euc", script],
            cwd=CHECKOUT,
            env={"PATH": f"{programs}:/usr/bin:/bin"},
            capture_output=True,
            text=True,
        )
        assert (told.returncode, told.stderr) == (0, "")
        return machine, notes.read_text(encoding="utf-8").replace(str(machine), "").splitlines()

    yield shell


def test_the_service_is_installed_by_one_command(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """`tests/commands/test_installation.py` and `tests/faults/test_under_systemd.py` run it in earnest."""
    (line,) = commands("keyturn service install")
    assert line[0] == ".venv/bin/keyturn"
    assert run(*line[1:], "--dry-run") == 0
    said = capsys.readouterr().out
    assert [words for words in ("/opt/keyturn", "/srv/keyturn", "keyturn.service", "doctor") if words not in said] == []


def test_the_lines_that_install_the_service_by_hand_put_every_file_in_its_place_and_keep_the_settings(
    installed: Any,
) -> None:
    """Upgrading runs them again."""
    (lines,) = [
        text for text in re.findall(r"^```sh\n(.*?)^```$", DEVELOPERS, re.M | re.S) if "systemctl enable" in text
    ]
    machine, notes = installed(lines)
    assert notes == [
        "python3 -m venv /opt/keyturn",
        "pip install .",
        "systemd-sysusers keyturn.conf",
        "systemd-tmpfiles --create keyturn.conf",
        "systemctl daemon-reload",
        "systemctl enable --now keyturn",
        "keyturn doctor --root /srv/keyturn",
    ]
    places = {
        "etc/sysusers.d/keyturn.conf": "keyturn.sysusers",
        "etc/tmpfiles.d/keyturn.conf": "keyturn.tmpfiles",
        "etc/systemd/system/keyturn.service": "keyturn.service",
        "srv/keyturn/keyturn.toml": "keyturn.toml",
    }
    for place, source in places.items():
        assert (machine / place).read_bytes() == (CHECKOUT / "systemd" / source).read_bytes()
        (machine / place).write_text("old")
    installed(lines)
    kept = [place for place in places if (machine / place).read_text(encoding="utf-8") == "old"]
    assert kept == ["srv/keyturn/keyturn.toml"]


def test_a_radio_is_copied_listed_and_given_a_stick(
    run: Run, installed: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = block("dash-1024x600")
    copy, *asked = text.splitlines()
    machine, _ = installed(copy)
    monkeypatch.chdir(tmp_path)
    for line in asked:
        words = shlex.split(line.replace(SHOP, f"{machine}{SHOP}"), comments=True)
        assert run(*words[1:], *(["--seconds", "1"] if "calibrate" in words else [])) == 0, capsys.readouterr().err
    assert "dash-1024x600" in capsys.readouterr().out
    assert (tmp_path / "calibration-dash-1024x600" / "bootanimation.zip").is_file()


# -- the rest ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ["keyturn demo", "pytest"])
def test_the_two_commands_install_this_checkout_and_start_a_program_of_it(words: str) -> None:
    """They need a registry: .ci/run runs the second as it is printed, tests/commands/test_demo.py runs the demo."""
    make, install, start = [shlex.split(part) for part in block(words).split("&&")]
    assert make == ["python3", "-m", "venv", ".venv"]
    assert install[:2] == [".venv/bin/pip", "install"] and install[-1] in (".", ".[test]")
    assert start[0] in (".venv/bin/keyturn", ".venv/bin/pytest")


def inline() -> list[str]:
    """Return what stands between single backticks, in one line each."""
    text = re.sub(r"^```.*?^```$", "", README, flags=re.MULTILINE | re.DOTALL)
    return [" ".join(code.split()) for code in re.findall(r"`([^`]+)`", text)]


def test_every_command_named_in_a_sentence_has_its_name_and_options() -> None:
    known = get_command(app.app).commands  # type: ignore[attr-defined]
    named = [shlex.split(code) for code in inline() if code.startswith("keyturn ")]
    assert len(named) > 5
    for _, command, *rest in named:
        inner = getattr(known[command], "commands", {})  # a group's own commands
        chosen = inner[rest.pop(0)] if rest and rest[0] in inner else known[command]
        options = {option for parameter in chosen.params for option in parameter.opts}
        assert {word for word in rest if word.startswith("-")} <= options, (command, rest)


def test_every_file_and_extra_named_in_a_sentence_is_there() -> None:
    extras = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"][
        "optional-dependencies"
    ]
    places = [code for code in inline() if re.fullmatch(r"(systemd|rules|tests|sample_inbox)/[\w./-]*", code)]
    assert len(places) > 5 and [place for place in places if not (CHECKOUT / place).exists()] == []
    asked = [
        extra for code in inline() for found in re.findall(r"'\.\[([\w,]+)\]'", code) for extra in found.split(",")
    ]
    assert asked and set(asked) <= set(extras)


def test_the_addresses_for_messages_are_settings_that_apprise_knows(tmp_path: Path) -> None:
    (tmp_path / "keyturn.toml").write_text(block("[notify]"), encoding="utf-8")
    listed = apprise_sending.all_addresses(settings.load(tmp_path).notify)
    assert len(listed) == 3 and apprise_sending.unknown(listed) == ()


@pytest.mark.system
def test_the_share_is_one_that_samba_knows(needs: Callable[[str], str], tmp_path: Path) -> None:
    """testparm(1) names unknown parameters and wrong values. tests/faults/test_uploads.py uploads to this share."""
    (tmp_path / "smb.conf").write_text(block("[inbox]"), encoding="utf-8")
    said = subprocess.run([needs("testparm"), "-s", tmp_path / "smb.conf"], capture_output=True, text=True)
    assert said.returncode == 0 and "Loaded services file OK" in said.stderr
    assert not [line for line in said.stderr.splitlines() if "inbox" in line or "nknown" in line]
    assert "force user = keyturn" in said.stdout


def test_stock_files_with_the_example_are_kept_and_copied(run: Run, small: Shop, tmp_path: Path) -> None:
    stock_drop(small.inbox / "stock", manifest=block("\nstock = true"))
    run_until_quiet(small)
    (tmp_path / "stick").mkdir()
    assert "`keyturn copy restore-tall-768x1024`" in README
    assert run("copy", "restore-tall-768x1024", tmp_path / "stick", "--any-folder", "--root", small.root) == 0
    assert (small.outbox / "fern-hollow-mobile-library/restore-tall-768x1024/SHA256SUMS").is_file()


def test_a_radio_is_learnt_from_its_stock_files(
    run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    STOCKS["plain"].write(tmp_path / "stock.zip")
    Image.new("RGB", (48, 64), "navy").save(tmp_path / "stock-logo.bmp")
    (words,) = commands("radios learn", **{SHOP: shop.root})
    assert run(*words[1:]) == 0 and rulebook.load(shop.rules).radios["dash-stock"].logo.made == "bmp"


def test_the_logo_of_the_example_can_be_made_for_a_panel_that_ships() -> None:
    radio = rulebook.load().radios["tall-768x1024"]
    with_it = with_tables(radio, **tomllib.loads(block("bmp_rows")), stick={"logo": "images/logo.bmp"})
    assert with_it.logo.bmp and with_it.logo.bmp.file_bytes(radio.panel.size) == 1572992


def test_every_block_is_run_by_a_test() -> None:
    assert {kind for kind, _ in BLOCKS} == {"sh", "toml", "ini"}
    unknown = [text for _, text in BLOCKS if not any(words in text for words in (*ART, *COMMANDS))]
    assert unknown == []
