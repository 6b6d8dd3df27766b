"""Clips stay open in a worker while their frames are asked for, and are closed after that."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from PIL import Image

from keyturn.package import open_clips
from keyturn.shop import rulebook

INTAKE = rulebook.load().intake


def leaf(path: Path, shade: int = 40) -> Path:
    first, *others = (Image.new("RGB", (48, 64), (shade * n, 60, 80)) for n in range(4))
    first.save(path, save_all=True, append_images=others, duration=80)
    return path


def test_a_clip_is_opened_once_and_again_when_its_file_has_changed(tmp_path: Path) -> None:
    path = leaf(tmp_path / "leaf.gif")
    first = open_clips.clip(path, INTAKE, name="leaf.gif")
    assert open_clips.clip(path, INTAKE, name="leaf.gif") is first
    path.unlink()
    changed = open_clips.clip(leaf(path, 50), INTAKE, name="leaf.gif")
    assert changed is not first
    assert changed.frame(1).convert("RGB").getpixel((0, 0)) == (50, 60, 80)


def test_only_the_last_few_stay_open(tmp_path: Path) -> None:
    paths = [leaf(tmp_path / f"{n}.gif") for n in range(open_clips.MOST_OPEN + 1)]
    first, *_ = [open_clips.clip(path, INTAKE, name=path.name) for path in paths]
    assert open_clips.clip(paths[0], INTAKE, name="0.gif") is not first


def test_a_clip_is_closed_at_the_end_of_a_program_without_workers(tmp_path: Path) -> None:
    """Python's own ResourceWarning, which it gives at its end for files that nobody closed."""
    path = tmp_path / "leaf.gif"
    first, *others = (Image.new("RGB", (48, 64), (40 * n, 60, 80)) for n in range(4))
    first.save(path, save_all=True, append_images=others, duration=80)
    program = (
        "import sys; from pathlib import Path; from keyturn.flatten.frame_source import Source;"
        "from keyturn.normalize.fit import Fit; from keyturn.package.frame import *; from keyturn.shop import rulebook;"
        "look = Look(Fit((48, 64)), (0, 0, 0), 24, 'png', 6.0, 48); path = Path(sys.argv[1]);"
        "make_frame(FrameJob(Source(path, path.name, 1), look, rulebook.load().intake))"
    )
    command = [sys.executable, "-W", "always::ResourceWarning", "-c", program, path]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stderr == ""
