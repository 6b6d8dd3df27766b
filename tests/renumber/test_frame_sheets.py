"""Parts whose frames lie side by side in one picture."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.inbox.survey import survey
from keyturn.manifest import reading
from keyturn.normalize.fit import Fit
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.pipeline import Bench, understand
from keyturn.renumber.frame_sheets import with_cells
from keyturn.renumber.frame_sources import FrameSources
from keyturn.renumber.parts import JobArt, job_art
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Rulebook
from keyturn.workers.crew import InlineCrew
from samples import picture

Choose = Callable[[str], JobArt]


@pytest.fixture
def choose(tmp_path: Path, rules: Rulebook) -> Choose:
    def art(text: str) -> JobArt:
        (tmp_path / "job.toml").write_text(f'customer = "C"\nradio = "tiny"\n[[part]]\nart = "sheet.png"\n{text}\n')
        found = survey(tmp_path, rules.intake)
        return with_cells(job_art(reading.read(tmp_path), found, rules.intake), tmp_path, rules.intake, InlineCrew())

    return art


@pytest.mark.system
@pytest.mark.parametrize("border", [0, 3])
def test_a_sheet_by_imagemagick_gives_back_its_frames(
    tmp_path: Path, choose: Choose, rules: Rulebook, border: int
) -> None:
    """ImageMagick's `montage -tile 4x2 -geometry 48x64+B+B`: B pixels around each picture, so 2 B between two."""
    frames = [picture((48, 64), number) for number in range(7)]
    for number, frame in enumerate(frames):
        frame.save(tmp_path / f"in-{number}.bmp")
    files = [f"in-{number}.bmp" for number in range(7)]
    options = ["-tile", "4x2", "-geometry", f"48x64+{border}+{border}", "-background", "black", "-depth", "8"]
    subprocess.run(["montage", *files, *options, "sheet.png"], cwd=tmp_path, check=True, timeout=60)
    for name in files:
        (tmp_path / name).unlink()
    art = choose(f"sheet = [4, 2]\nmargin = {border}\ngap = {2 * border}")
    assert {r.code for r in art.reasons} == {"sheet-cells-empty"}
    sources = FrameSources(art, tmp_path, (48, 64)).sources(art.parts[0], 10.0)
    look = Look(Fit((48, 64)), (0, 0, 0), 24, "png", 6.0, 48)
    made = [make_frame(FrameJob(source, look, rules.intake)).data for source in sources]
    assert len(made) == len(frames)
    for data, frame in zip(made, frames, strict=True):
        assert np.array_equal(np.asarray(Image.open(io.BytesIO(data)).convert("RGB")), np.asarray(frame.convert("RGB")))
    hold = FrameSources(art, tmp_path, (48, 64)).sources(art.parts[1], 10.0)
    assert hold == sources[-1:]


def test_how_far_a_sheet_is_enlarged_is_counted_from_its_frames(tmp_path: Path, choose: Choose) -> None:
    picture((96, 64), 1).save(tmp_path / "sheet.png")
    art = choose("sheet = [4, 2]")
    assert FrameSources(art, tmp_path, (48, 64)).enlarged(Fit((48, 64))) == {"sheet.png": 2.0}


@pytest.mark.parametrize(
    ("text", "code"),
    [("sheet = [7, 2]", "sheet-uneven"), ("sheet = [4, 2]\nmargin = 400", "sheet-uneven"), ("sheet = [2, 2]", "")],
)
def test_a_sheet_that_does_not_come_out_even_is_refused_with_its_size(
    tmp_path: Path, choose: Choose, text: str, code: str
) -> None:
    picture((96, 64), 1).save(tmp_path / "sheet.png")
    if not code:
        assert len(choose(text).parts[0].cells) == 4
        return
    with pytest.raises(Refused) as caught:
        choose(text)
    (reason,) = caught.value.reasons
    assert (reason.code, reason.field) == (code, "part.1.sheet") and "96 x 64" in reason.what


def test_an_empty_sheet_and_a_moving_one_are_refused(tmp_path: Path, choose: Choose) -> None:
    Image.new("RGB", (96, 64)).save(tmp_path / "sheet.png")
    with pytest.raises(Refused) as caught:
        choose("sheet = [4, 2]")
    assert {r.code for r in caught.value.reasons} == {"sheet-empty"}
    frames = [picture((96, 64), n) for n in range(3)]
    frames[0].save(tmp_path / "sheet.png", save_all=True, append_images=frames[1:], duration=100)
    with pytest.raises(Refused) as caught:
        choose("sheet = [4, 2]")
    assert {r.code for r in caught.value.reasons} == {"sheet-of-clip"}


def test_a_drop_with_a_sheet_is_planned_frame_by_frame(tmp_path: Path, bench: Bench) -> None:
    drop = tmp_path / "van"
    drop.mkdir()
    picture((4 * 48, 2 * 64), 1).save(drop / "sheet.png")
    text = 'customer = "C"\nradio = "tiny"\n[[part]]\nart = "sheet.png"\nsheet = [4, 2]\n'
    (drop / "job.toml").write_text(text)
    job = understand(drop, "van", tmp_path / "scratch", bench)
    assert [len(part.sources) for part in job.plans[0].parts] == [8, 1]
