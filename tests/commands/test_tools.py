"""The commands about one thing: inspect, copy, calibrate and doctor, as their users call them."""

from __future__ import annotations

import io
import json
import sys
import tomllib
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from keyturn.commands import doctor, make_by_hand, tools
from keyturn.commands.doctor import Finding, Health
from keyturn.pipeline import Bench
from keyturn.shop import mounts
from keyturn.shop.folders import Shop
from keyturn.shop.mounts import Mount
from samples import Drop, Run, picture

Said = pytest.CaptureFixture[str]
DESC = b"48 64 12\np 1 6 part0\np 0 0 part1\n"


# -- inspect ----------------------------------------------------------------------------------------


def png(number: int, size: tuple[int, int] = (48, 64)) -> bytes:
    out = io.BytesIO()
    picture(size, number).save(out, "PNG")
    return out.getvalue()


def art(folder: str = "") -> dict[str, bytes]:
    frames = {f"{folder}part0/{n:04d}.png": png(n) for n in range(1, 5)}
    return {f"{folder}desc.txt": DESC, **frames, f"{folder}part1/0001.png": png(4)}


@pytest.fixture
def bundle(tmp_path: Path) -> Callable[..., Path]:
    def make(entries: Mapping[str, bytes], method: int = zipfile.ZIP_STORED) -> Path:
        path = tmp_path / "bootanimation.zip"
        with zipfile.ZipFile(path, "w", method) as archive:
            for name, data in entries.items():
                archive.writestr(name, data)
        return path

    return make


Bundle = Callable[..., Path]


def codes(said: Said) -> set[str]:
    return {reason["code"] for reason in json.loads(said.readouterr().out)["reasons"]}


def test_what_the_line_makes_has_no_fault(
    run: Run, shop: Shop, drop: Drop, bench: Bench, tmp_path: Path, capsys: Said
) -> None:
    made = make_by_hand.make(drop(frames=12), tmp_path / "out", bench).folder
    assert made is not None
    path = made / "usb" / "bootanimation.zip"
    assert run("inspect", path, "--radio", "tiny", "--root", shop.root, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["shown"], found["width"], found["height"]) == (True, 48, 64)
    assert [len(part["frames"]) for part in found["parts"]] == [12, 1]
    assert found["reasons"] == []


def test_a_sound_archive_is_told_in_words(run: Run, bundle: Bundle, capsys: Said) -> None:
    assert run("inspect", bundle(art())) == 0
    said = capsys.readouterr().out
    assert "48 x 64, 12 fps" in said
    assert "part0: 4 frames, once, pause 6 (type p)" in said
    assert "part1: 1 frames, until booted" in said


def test_a_deflated_archive_shows_nothing(run: Run, bundle: Bundle, capsys: Said) -> None:
    """The reference player silently skips compressed entries (AOSP cmds/bootanimation)."""
    path = bundle(art(), zipfile.ZIP_DEFLATED)
    assert run("inspect", path, "--json") == 1
    assert {"desc-compressed", "frame-compressed", "part-empty"} <= codes(capsys)
    assert run("inspect", path) == 1
    assert "compression off" in capsys.readouterr().out


def test_a_folder_zipped_instead_of_its_contents(run: Run, bundle: Bundle, capsys: Said) -> None:
    assert run("inspect", bundle(art("van/")), "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["shown"], found["width"]) == (False, None)
    assert "desc-nested" in {r["code"] for r in found["reasons"]}
    assert run("inspect", bundle(art("van/"))) == 1
    assert "nothing is shown" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("desc", "code", "exit_code", "shown"),
    [
        (DESC.replace(b"\n", b"\r\n"), "line-endings", 0, True),
        (b"\xef\xbb\xbf" + DESC, "byte-order-mark", 1, False),
        (DESC.removesuffix(b"\n"), "row-unterminated", 1, True),
        (b"48 64 12\np 11 0 part0\np 0 0 part1\n", "count-not-trusted", 1, True),
        (b"48 64 12\np 0 0 part1\np 1 0 part0\n", "row-unreachable", 1, True),
    ],
)
def test_a_spoilt_desc_txt(
    run: Run, bundle: Bundle, capsys: Said, desc: bytes, code: str, exit_code: int, shown: bool
) -> None:
    path = bundle(art() | {"desc.txt": desc})
    assert run("inspect", path, "--json") == exit_code
    found = json.loads(capsys.readouterr().out)
    assert code in {r["code"] for r in found["reasons"]}
    assert found["shown"] is shown


def test_for_a_radio_its_panel_and_player_count_too(run: Run, bundle: Bundle, capsys: Said) -> None:
    path = bundle(art() | {"desc.txt": DESC.replace(b"p 1", b"c 1")})
    assert run("inspect", path, "--json") == 0
    assert codes(capsys) == set()
    assert run("inspect", path, "--radio", "tall-768x1024", "--json") == 1
    assert {"panel-size", "type-not-known"} <= codes(capsys)


def test_an_unknown_radio_is_refused_with_the_nearest(run: Run, bundle: Bundle, capsys: Said) -> None:
    assert run("inspect", bundle(art()), "--radio", "tall-768x1042") == 1
    assert '"tall-768x1024"' in capsys.readouterr().err


def test_what_is_no_archive_is_refused(run: Run, tmp_path: Path, capsys: Said) -> None:
    assert run("inspect", tmp_path / "ghost.zip") == 2
    assert "is not a file" in capsys.readouterr().err
    assert run("inspect", tmp_path) == 2
    (tmp_path / "x.zip").write_bytes(b"no zip at all")
    assert run("inspect", tmp_path / "x.zip") == 1
    assert "x.zip" in capsys.readouterr().err


def test_names_from_an_archive_are_printed_as_text(run: Run, bundle: Bundle, capsys: Said) -> None:
    """ECMA-48: a terminal obeys control sequences; none may come through from a name."""
    run("inspect", bundle(art() | {"[red]\x1b[31m.png": b"x"}))
    said = capsys.readouterr().out
    assert "\x1b" not in said and "[red]" in said


# -- copy -------------------------------------------------------------------------------------------


@pytest.fixture
def made(shop: Shop, drop: Drop, bench: Bench) -> Path:
    """A job "van" in the shop's outbox: its stick folder."""
    folder = make_by_hand.make(drop(frames=3), shop.outbox, bench).folder
    assert folder is not None
    return folder / "usb"


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    place = tmp_path / "stick"
    place.mkdir()
    return place


def test_a_job_is_put_on_a_stick(run: Run, shop: Shop, made: Path, stick: Path, capsys: Said) -> None:
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0
    assert "2 files" in capsys.readouterr().out
    for name in ("bootanimation.zip", "logo.png"):
        assert (stick / name).read_bytes() == (made / name).read_bytes()


def test_without_any_folder_a_folder_is_refused(run: Run, shop: Shop, made: Path, stick: Path, capsys: Said) -> None:
    assert run("copy", "van", stick, "--root", shop.root) == 2
    assert "--any-folder" in capsys.readouterr().err
    assert list(stick.iterdir()) == []


def test_other_files_are_replaced_only_with_leave(run: Run, shop: Shop, made: Path, stick: Path, capsys: Said) -> None:
    (stick / "logo.png").write_bytes(b"theirs")
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 2
    said = capsys.readouterr().err
    assert "logo.png" in said and "--replace" in said
    assert {p.name: p.read_bytes() for p in stick.iterdir()} == {"logo.png": b"theirs"}
    assert run("copy", "van", stick, "--any-folder", "--replace", "--root", shop.root) == 0
    assert (stick / "logo.png").read_bytes() == (made / "logo.png").read_bytes()


@pytest.mark.parametrize(("answer", "code"), [("y\n", 0), ("n\n", 1), ("", 130)])
def test_on_a_terminal_it_asks(
    run: Run, shop: Shop, made: Path, stick: Path, monkeypatch: pytest.MonkeyPatch, answer: str, code: int
) -> None:
    (stick / "logo.png").write_bytes(b"theirs")
    monkeypatch.setattr(type(tools.err), "is_terminal", property(lambda console: True))
    monkeypatch.setattr(sys, "stdin", io.StringIO(answer))
    assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == code
    assert ((stick / "logo.png").read_bytes() == b"theirs") is (code != 0)


def test_the_same_again_asks_nothing(run: Run, shop: Shop, made: Path, stick: Path) -> None:
    for _ in range(2):
        assert run("copy", "van", stick, "--any-folder", "--root", shop.root) == 0


def test_the_stick_that_is_plugged_in_needs_no_name(
    run: Run, shop: Shop, made: Path, stick: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said
) -> None:
    monkeypatch.setattr(mounts, "sticks", lambda: (Mount(stick, "vfat", "/dev/sdx1", "8:1", True),))
    assert run("copy", "van", "--any-folder", "--root", shop.root) == 0
    assert (stick / "logo.png").is_file()
    monkeypatch.setattr(mounts, "sticks", lambda: ())
    assert run("copy", "van", "--root", shop.root) == 2
    assert "no stick is plugged in" in capsys.readouterr().err


def test_an_unknown_job_and_an_unknown_radio_are_wrong_use(
    run: Run, shop: Shop, made: Path, stick: Path, capsys: Said
) -> None:
    assert run("copy", "ferry", stick, "--root", shop.root) == 2
    assert "fern-hollow-mobile-library/van-r1" in capsys.readouterr().err
    assert run("copy", "van", stick, "--radio", "wide", "--root", shop.root) == 2
    assert "tiny" in capsys.readouterr().err


# -- calibrate --------------------------------------------------------------------------------------


def profile(shop: Shop) -> dict[str, Any]:
    return tomllib.loads((shop.rules / "radios" / "tiny.toml").read_text(encoding="utf-8"))


def test_a_calibration_stick_is_made_with_what_to_do(run: Run, shop: Shop, tmp_path: Path, capsys: Said) -> None:
    out = tmp_path / "count"
    assert run("calibrate", "tiny", "--out", out, "--seconds", 1, "--fps", 5, "--root", shop.root) == 0
    archive = zipfile.ZipFile(out / "bootanimation.zip")
    assert archive.read("desc.txt") == b"48 64 5\np 1 0 part0\np 0 0 part1\n"
    assert Image.open(out / "logo.png").size == (48, 64)
    said = capsys.readouterr().out
    assert str(out) in said and "Film the screen" in said and "Park the vehicle" in said
    assert run("inspect", out / "bootanimation.zip", "--radio", "tiny", "--root", shop.root) == 0


def test_a_stick_never_overwrites(run: Run, shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    assert run("calibrate", "tiny", "--out", tmp_path, "--seconds", 1, "--root", shop.root) == 2
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_filmed_starts_are_learnt_into_the_shops_rules(run: Run, shop: Shop, capsys: Said) -> None:
    """Ten frames a second nominal; 179 frames in 22.4 s are a frame every 125.1 ms, 25.1 ms beyond the beat."""
    readings = ("--read", "17.9", "18.4", "--filmed", "22.4", "23.0")
    assert run("calibrate", "tiny", *readings, "--root", shop.root) == 0
    stored = profile(shop)
    assert stored["boot"]["samples"] == [22.4, 23.0]
    assert stored["limits"]["draw_ms"] == pytest.approx(25.1, abs=0.2)
    assert "2 added to 0 kept" in capsys.readouterr().out
    assert run("calibrate", "tiny", "--read", "17.9", "--root", shop.root) == 0
    assert profile(shop)["boot"]["samples"][:2] == [22.4, 23.0]
    assert len(profile(shop)["boot"]["samples"]) == 3


def test_a_shipped_radio_is_learnt_into_a_profile_of_the_shops_own(run: Run, shop: Shop) -> None:
    assert run("calibrate", "wide-1024x600", "--read", "17.9", "--filmed", "22.4", "--root", shop.root) == 0
    own = tomllib.loads((shop.rules / "radios" / "wide-1024x600.toml").read_text(encoding="utf-8"))
    assert own["boot"]["samples"] == [22.4]


@pytest.mark.parametrize(
    "arguments",
    [
        ("--filmed", "22.4"),
        ("--read", "17.9", "18.4", "--filmed", "22.4"),
        ("--read", "often"),
        ("--read", "17,9"),
        ("--read", "17.95"),
        ("--read", "17.9", "--filmed", "2"),
        ("--fps", "61"),
        ("--fps", "45", "--seconds", "1"),
        ("--seconds", "0"),
    ],
)
def test_wrong_use_stores_nothing(run: Run, shop: Shop, tmp_path: Path, arguments: tuple[str, ...]) -> None:
    before = (shop.rules / "radios" / "tiny.toml").read_bytes()
    out = () if "--read" in arguments or "--filmed" in arguments else ("--out", tmp_path / "count")
    assert run("calibrate", "tiny", *arguments, *out, "--root", shop.root) == 2
    assert (shop.rules / "radios" / "tiny.toml").read_bytes() == before
    assert not (tmp_path / "count").exists()


def test_an_unknown_radio_or_no_shop_at_all(run: Run, shop: Shop, tmp_path: Path, capsys: Said) -> None:
    assert run("calibrate", "tinny", "--out", tmp_path / "x", "--root", shop.root) == 1
    assert '"tiny"' in capsys.readouterr().err
    assert run("calibrate", "tall-768x1024", "--read", "17.9", "--root", tmp_path / "nowhere") == 2
    assert "keyturn init" in capsys.readouterr().err


# -- doctor -----------------------------------------------------------------------------------------


def test_a_sound_shop_exits_0(run: Run, shop: Shop, capsys: Said) -> None:
    assert run("doctor", "--root", shop.root) == 0
    assert "the rules are in order" in capsys.readouterr().out


def test_an_ill_shop_exits_2_and_json_is_for_programs(run: Run, shop: Shop, capsys: Said) -> None:
    shop.archive.rmdir()
    assert run("doctor", "--root", shop.root) == 2
    assert f"keyturn init {shop.root}" in capsys.readouterr().out
    assert run("doctor", "--root", shop.root, "--json") == 2
    found = json.loads(capsys.readouterr().out)
    assert all(set(f) == {"health", "what", "remedy"} for f in found)
    assert {f["health"] for f in found} <= {"well", "mind", "ill"}
    assert [f["what"] for f in found if f["health"] == "ill"] == [f"{shop.archive} is not there"]


def test_what_is_only_to_be_minded_exits_0(run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: Said) -> None:
    monkeypatch.setattr(doctor, "examine", lambda shop: [Finding(Health.MIND, "[b]odd", "mend it")])
    assert run("doctor", "--root", shop.root) == 0
    assert "[b]odd -> mend it" in capsys.readouterr().out
