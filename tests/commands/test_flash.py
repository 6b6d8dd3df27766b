"""`keyturn flash`: the pictures of a folder are checked in order, one at a time."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.commands.flash import check_folder
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.shop.records import FlashRecord
from samples import Run

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")


def fill(folder: Path, levels: list[int], *, size: tuple[int, int] = (64, 48), name: str = "{:04}.png") -> Path:
    folder.mkdir(exist_ok=True)
    for number, level in enumerate(levels):
        Image.new("RGB", size, (level,) * 3).save(folder / name.format(number))
    return folder


def box_film(folder: Path, size: tuple[int, int], box: tuple[int, int]) -> Path:
    folder.mkdir()
    for number in range(16):
        picture = Image.new("RGB", size)
        picture.paste((255 * (number % 2),) * 3, (10, 10, 10 + box[0], 10 + box[1]))
        picture.save(folder / f"{number:04}.png")
    return folder


def checked(
    folder: Path, fps: float, screen: tuple[int, int] | None, field: tuple[int, int] | None, rules
) -> FlashRecord:
    return check_folder(folder, fps, screen, field, rules).record


def test_a_flickering_folder_fails_and_a_slower_one_passes(tmp_path: Path) -> None:
    folder = fill(tmp_path / "frames", [0, 200] * 8)
    fast = checked(folder, 30, None, None, RULES)
    assert (fast.passes, fast.general_max_per_s) == (False, 8)  # sixteen pictures: fifteen transitions, an odd number
    # WCAG 2.2 / G19: six pictures a second are six transitions, three flashes
    assert checked(folder, 6, None, None, RULES).general_max_per_s == 3
    assert checked(folder, 6, None, None, RULES).passes


def test_frames_go_by_number_not_by_letter(tmp_path: Path) -> None:
    # twelve greys that rise once: read letter by letter (0, 1, 10, 11, 2 ...) they would fall and rise again
    folder = fill(tmp_path / "frames", [20 * n for n in range(12)], name="frame{}.png")
    assert checked(folder, 30, None, None, RULES).general_max_per_s == 0


def test_other_files_are_passed_over_and_jpeg_is_read(tmp_path: Path) -> None:
    folder = fill(tmp_path / "frames", [0, 200] * 8, name="{:02}.jpg")
    (folder / "notes.txt").write_text("not a picture")
    (folder / "._00.jpg").write_bytes(b"\0\5\x16\7")
    report = checked(folder, 30, None, None, RULES)
    assert (report.passes, report.general_max_per_s) == (False, 8)  # all sixteen pictures were read


def test_the_default_field_is_wcags_in_proportion(tmp_path: Path) -> None:
    # 341 x 256 px at 1024 x 768 are 85.25 x 64 px at 256 x 192; a quarter is 1,364 px
    assert checked(box_film(tmp_path / "a", (256, 192), (44, 31)), 30, None, None, RULES).passes  # 1,364 px
    assert not checked(box_film(tmp_path / "b", (256, 192), (37, 37)), 30, None, None, RULES).passes  # 1,369 px


def test_a_given_field_is_scaled_from_the_screen_to_the_pictures(tmp_path: Path) -> None:
    folder = box_film(tmp_path / "a", (256, 192), (44, 31))
    assert checked(folder, 30, (1024, 768), (341, 256), RULES).passes
    assert not checked(folder, 30, (1024, 768), (320, 256), RULES).passes
    assert not checked(folder, 30, None, (80, 64), RULES).passes


def test_transparent_pictures_are_laid_on_black(tmp_path: Path) -> None:
    folder = tmp_path / "frames"
    folder.mkdir()
    for number in range(16):
        Image.new("RGBA", (32, 24), (255, 255, 255, 255 * (number % 2))).save(folder / f"{number:03}.png")
    assert not checked(folder, 30, None, None, RULES).passes


def code(folder: Path) -> str:
    with pytest.raises(Refused) as caught:
        checked(folder, 30, None, None, RULES)
    return caught.value.reasons[0].code


def test_what_cannot_be_judged_is_refused_by_name(tmp_path: Path) -> None:
    assert code(tmp_path / "nowhere") == "not-a-folder"
    (tmp_path / "empty").mkdir()
    assert code(tmp_path / "empty") == "no-pictures"
    mixed = fill(tmp_path / "mixed", [0, 10])
    Image.new("RGB", (65, 48)).save(mixed / "0002.png")
    assert code(mixed) == "picture-size-mixed"
    broken = fill(tmp_path / "broken", [0, 10])
    (broken / "0001.png").write_bytes((broken / "0001.png").read_bytes()[:40])
    assert code(broken) == "picture-unreadable"
    deep = fill(tmp_path / "deep", [0])
    Image.fromarray(np.full((48, 64), 40_000, np.uint16)).save(deep / "0001.png")
    assert code(deep) == "picture-unreadable"


def test_the_command_agrees_with_what_the_pictures_are(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """WCAG 2.2, 2.3.1: black and white in turn at 30 frames a second are 15 flashes a second; 3 are allowed."""
    for name, grey in (("still", lambda n: 90), ("strobe", lambda n: 255 * (n % 2))):
        (tmp_path / name).mkdir()
        for number in range(30):
            Image.new("RGB", (64, 48), (grey(number),) * 3).save(tmp_path / name / f"{number:03d}.png")
    assert run("flash", tmp_path / "still", "--fps", 30, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["pass"] is True and found["general_max_per_s"] == 0
    counts = {"general_max_per_s", "red_max_per_s", "worst_at_s", "field_share"}
    assert set(found) == {"judged", "pass", "field_px", "picture_px", *counts}
    assert run("flash", tmp_path / "strobe", "--fps", 30, "--screen", "1024x768", "--field-px", "341x256") == 1
    assert "fails" in capsys.readouterr().out
    assert run("flash", tmp_path / "strobe", "--fps", 30, "--screen", "wide") == 2


# -- what a script and a person are told --------------------------------------------------------------


def test_a_refusal_is_told_from_a_failure(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # README, exit codes: 1 the pictures flash too much, 4 they could not be judged
    assert run("flash", fill(tmp_path / "strobe", [0, 200] * 8), "--fps", 30, "--json") == 1
    assert json.loads(capsys.readouterr().out)["pass"] is False
    broken = fill(tmp_path / "broken", [0, 10])
    (broken / "0001.png").write_bytes(b"no picture")
    assert run("flash", broken, "--fps", 30, "--json") == 4
    found = json.loads(capsys.readouterr().out)
    assert (found["judged"], found["pass"]) == (False, None)
    assert [(r["code"], r["file"]) for r in found["reasons"]] == [("picture-unreadable", "0001.png")]
    assert run("flash", broken, "--fps", 30) == 4
    told = capsys.readouterr()
    assert "not judged" in told.err and "0001.png" in told.err


@pytest.mark.parametrize("suffix", ["gif", "png", "webp", "tif"])
def test_an_animation_among_the_pictures_is_not_taken_for_a_still(tmp_path: Path, suffix: str) -> None:
    folder = fill(tmp_path / "frames", [0, 10])
    pictures = [Image.new("RGB", (64, 48), (255 * (n % 2),) * 3) for n in range(16)]
    pictures[0].save(folder / f"0002.{suffix}", save_all=True, append_images=pictures[1:])
    assert code(folder) == "picture-animated"


def test_the_field_and_the_share_that_flashed_are_told(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 341 x 256 px at 1024 x 768 are 85.25 x 64 px at 256 x 192; 43 x 31 px are 24.4 % of it, 44 x 32 are 25.8 %
    small = box_film(tmp_path / "small", (256, 192), (43, 31))
    assert run("flash", small, "--fps", 30) == 0
    said = capsys.readouterr().out
    assert "24.4 % of a field, below the limit" in said and "85.25 x 64 px" in said
    assert run("flash", small, "--fps", 30, "--json", "--field-px", "341x256", "--screen", "1024x768") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["field_share"] == pytest.approx(0.2443, abs=1e-4) and found["field_px"] == [85.25, 64.0]
    assert run("flash", box_film(tmp_path / "large", (256, 192), (44, 32)), "--fps", 30) == 1
    assert "25.8 % of a field, above the limit" in capsys.readouterr().out
    assert run("flash", fill(tmp_path / "still", [40] * 9), "--fps", 30) == 0
    assert "of a field" not in capsys.readouterr().out


@pytest.mark.parametrize("size", ["341X256", "341×256", "341 x 256"])
def test_a_size_may_be_written_as_people_write_it(run: Run, tmp_path: Path, size: str) -> None:
    assert run("flash", fill(tmp_path / "still", [40] * 3), "--fps", 30, "--field-px", size) == 0


def test_a_shop_that_is_not_there_is_an_error(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frames = fill(tmp_path / "still", [40] * 3)
    assert run("flash", frames, "--fps", 30, "--root", tmp_path / "nowhere") == 2
    assert "nowhere is not a folder" in capsys.readouterr().err


def test_pictures_beyond_what_is_kept_are_read_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # 176 x 125 px are 25.2 % of 341 x 256 px: cells of 3.41 px cannot tell
    folder = box_film(tmp_path / "a", (512, 384), (176, 125))
    whole = checked(folder, 30, None, (341, 256), RULES)
    monkeypatch.setattr("keyturn.commands.flash.KEPT_MIB", 0)
    assert checked(folder, 30, None, (341, 256), RULES) == whole
    assert not whole.passes
