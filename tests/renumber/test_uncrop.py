"""Cropped frames of a ready-made archive are laid on their row's colour again."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.radio.trim import Box
from keyturn.renumber.uncrop import CroppedFolder, CroppedFrame, folders, uncrop, whole_frame
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import InlineCrew

SIZE = (48, 64)
WHOLE = np.full((64, 48, 3), (11, 29, 42), np.uint8)
WHOLE[20:30, 8:24] = (240, 200, 20)
"""A lamp on the colour #0b1d2a. The cropped frame is cut from it by numpy, which is the reference."""


def cropped(folder: Path, trim: str = "16x10+8+20\n") -> CroppedFolder:
    folder.mkdir()
    Image.fromarray(WHOLE[20:30, 8:24]).save(folder / "0001.png")
    (folder / "trim.txt").write_text(trim)
    return CroppedFolder(folder.name, ("0001.png", "trim.txt"), frozenset({"#0b1d2a"}))


def test_the_frame_lies_where_it_was_cut_out(tmp_path: Path, rules: Rulebook) -> None:
    (reason,) = uncrop(tmp_path, [cropped(tmp_path / "part0")], SIZE, InlineCrew(), rules.intake)
    assert reason.code == "trim-undone"
    with Image.open(tmp_path / "part0" / "0001.png") as made:
        assert np.array_equal(np.asarray(made), WHOLE)


def test_a_frame_of_another_size_than_its_box_is_refused(tmp_path: Path, rules: Rulebook) -> None:
    cropped(tmp_path / "part0")
    path = tmp_path / "part0" / "0001.png"
    with pytest.raises(Refused, match="16 x 10"):
        whole_frame(CroppedFrame(path, "part0/0001.png", Box(16, 11, 8, 20), SIZE, "#000000", rules.intake))
    sound = CroppedFrame(path, "part0/0001.png", Box(16, 10, 8, 20), SIZE, "#0b1d2a", rules.intake)
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(whole_frame(sound)))), WHOLE)


@pytest.mark.parametrize(
    ("trim", "colours", "size", "code"),
    [
        ("16x10+40+20\n", {"#0b1d2a"}, SIZE, "trim-outside"),
        ("16x10+8+20\n", {"#0b1d2a", "#000000"}, SIZE, "trim-grounds"),
        ("16x10+8+20\n", {"#0b1d2a"}, (40_000, 40_000), "picture-too-large"),
    ],
)
def test_what_no_player_shows_as_meant_is_refused_and_nothing_written(
    tmp_path: Path, rules: Rulebook, trim: str, colours: set[str], size: tuple[int, int], code: str
) -> None:
    folder = cropped(tmp_path / "part0", trim)
    before = (tmp_path / "part0" / "0001.png").read_bytes()
    folder = CroppedFolder(folder.name, folder.files, frozenset(colours))
    assert [r.code for r in uncrop(tmp_path, [folder], size, InlineCrew(), rules.intake)] == [code]
    assert (tmp_path / "part0" / "0001.png").read_bytes() == before


def test_a_folder_without_trim_txt_is_left_alone(tmp_path: Path, rules: Rulebook) -> None:
    folder = CroppedFolder("part0", ("0001.png",), frozenset({"#000000"}))
    assert uncrop(tmp_path, [folder], SIZE, InlineCrew(), rules.intake) == ()


def test_a_folder_shown_by_two_rows_has_both_colours() -> None:
    rows = [("part0", ("a.png",), "#ABCDEF"), ("part1", ("b.png",), None), ("part0", ("a.png",), None)]
    assert folders(rows) == (
        CroppedFolder("part0", ("a.png",), frozenset({"#abcdef", "#000000"})),
        CroppedFolder("part1", ("b.png",), frozenset({"#000000"})),
    )
