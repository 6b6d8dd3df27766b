"""`keyturn inspect`: what a radio would show of any archive."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from keyturn.commands import make_by_hand
from keyturn.pipeline import Bench
from keyturn.shop.folders import Shop
from samples import Drop, Run, picture

Said = pytest.CaptureFixture[str]

DESC = b"48 64 12\np 1 6 part0\np 0 0 part1\n"


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
    assert "part 1 (part0): 4 frames, once, pause 6 (type p)" in said
    assert "part 2 (part1): 1 frames, until booted" in said


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
    found = json.loads(capsys.readouterr().out)
    assert {reason["kind"] for reason in found["reasons"]} == {"note"}
    assert found["generations"]["first"]["frames"] == [1] and found["generations"]["third"]["frames"] == [4, 1]
    assert run("inspect", path, "--radio", "tall-768x1024", "--json") == 1
    assert {"panel-size", "type-dropped"} <= codes(capsys)


def test_an_archive_that_never_lets_go_says_so_first(run: Run, bundle: Bundle, capsys: Said) -> None:
    """An endless row without a frame: 4.4, 10 and 14 never look for the end of the boot (AOSP, observed)."""
    path = bundle(art() | {"desc.txt": b"48 64 12\np 1 0 part0\np 0 0 part8\n"})
    assert run("inspect", path, "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["lets_go"], found["delay_s"]) == (False, None)
    assert found["reasons"][0]["code"] == "screen-never-released"
    assert run("inspect", path) == 1
    assert "the home screen may never appear" in " ".join(capsys.readouterr().out.split())


def test_bytes_before_the_archive_show_nothing(run: Run, bundle: Bundle, capsys: Said) -> None:
    path = bundle(art())
    path.write_bytes(b"#!" + path.read_bytes())
    assert run("inspect", path, "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert not found["shown"] and "zip-begins-late" in {reason["code"] for reason in found["reasons"]}


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
    """ECMA-48: a terminal obeys control sequences; so names are printed without them."""
    run("inspect", bundle(art() | {"[red]\x1b[31m.png": b"x"}))
    said = capsys.readouterr().out
    assert "\x1b" not in said and "[red]" in said


@pytest.mark.parametrize(("seconds", "code"), [(2.0, 1), (30.0, 0)])
def test_the_shops_own_rule_says_how_long_a_camera_may_wait(
    run: Run, shop: Shop, bundle: Bundle, capsys: Said, seconds: float, code: int
) -> None:
    (shop.rules / "safety.toml").write_text(f"[holding]\ncamera_seconds = {seconds}\n")
    frames = {f"part0/{n:04d}.png": png(n) for n in range(1, 49)}
    held = {"desc.txt": b"48 64 12\nc 1 0 part0\np 0 0 part1\n", **frames, "part1/0001.png": png(4)}
    assert run("inspect", bundle(held), "--root", shop.root, "--json") == code
    assert "home-screen-held" in codes(capsys)
