"""Whole frames: the same bytes every time, and nearly the same pixels whichever libraries are there."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from blake3 import blake3
from PIL import Image, ImageDraw

from keyturn.flatten.frame_source import Source
from keyturn.normalize.fit import Fit
from keyturn.package import frame
from keyturn.package.frame import FrameDone, FrameJob, Look, make_frame
from keyturn.package.same_file import Recent
from keyturn.shop import fast_libraries, rulebook
from keyturn.workers.crew import LocalCrew

INTAKE = rulebook.load().intake
LOOK = Look(Fit((96, 128)), (11, 29, 42), 24, "png", 6.0, 48)


def drawn(folder: Path) -> list[Path]:
    """Grain, drawn shapes, a cut-out, and a photograph."""
    dice = np.random.default_rng(8)
    soft = Image.fromarray(dice.integers(0, 256, (9, 12, 3), dtype=np.uint8)).resize(
        (320, 240), Image.Resampling.BICUBIC
    )
    grain = np.clip(np.asarray(soft) + dice.normal(0, 4, (240, 320, 3)), 0, 255).astype(np.uint8)
    shapes = Image.new("RGB", (320, 240), (20, 60, 90))
    ImageDraw.Draw(shapes).ellipse((90, 40, 230, 180), fill=(240, 200, 20))
    cut = Image.new("RGBA", (320, 240))
    ImageDraw.Draw(cut).ellipse((100, 60, 220, 170), fill=(200, 30, 30, 200))
    for name, image in {"1.png": Image.fromarray(grain), "2.png": shapes, "3.png": cut, "4.jpg": soft}.items():
        image.save(folder / name)
    return sorted(folder.iterdir())


def made(paths: list[Path], monkeypatch: pytest.MonkeyPatch) -> list[FrameDone]:
    monkeypatch.setattr(frame, "_RECENT", Recent(0))
    frame._fitted_still.cache_clear()
    return [make_frame(FrameJob(Source(path, path.name), LOOK, INTAKE)) for path in paths]


def test_the_same_art_gives_the_same_bytes_in_any_worker(
    tmp_path: Path, libraries: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = drawn(tmp_path)
    first = made(paths, monkeypatch)
    assert [f.data for f in first] == [f.data for f in made(paths, monkeypatch)]
    if libraries == "quick":
        crew = LocalCrew(2, INTAKE.workers)
        try:
            jobs = [FrameJob(Source(path, path.name), LOOK, INTAKE) for path in paths]
            others = [done.data for done in crew.run(make_frame, jobs, lambda job: job.source.name)]  # type: ignore[union-attr]
        finally:
            crew.close()
        assert others == [f.data for f in first]


def test_the_file_holds_the_pixels_that_the_digest_and_the_cells_speak_of(
    tmp_path: Path, libraries: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for done in made(drawn(tmp_path), monkeypatch):
        pixels = np.asarray(Image.open(io.BytesIO(done.data)))
        assert pixels.shape == (128, 96, 3)
        assert blake3(pixels.tobytes()).hexdigest() == done.digest
        # IEC 61966-2-1: the mean of linear light over the picture is the mean of its cells, but for their rounding
        # and for the last row and column, whose cells are smaller.
        light = np.where(pixels <= 10, pixels / 255 / 12.92, ((pixels / 255 + 0.055) / 1.055) ** 2.4)
        assert done.cells[:-1].mean() / 65535 == pytest.approx(light[:126, :96].mean(), abs=2e-3)


def test_libraries_and_pillow_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in (fast_libraries.DEFLATE, fast_libraries.RESIZE, fast_libraries.DECODE):
        pytest.importorskip(name)
    quickly = made(drawn(tmp_path), monkeypatch)
    monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    for one, other in zip(quickly, made(sorted(tmp_path.iterdir()), monkeypatch), strict=True):
        a, b = (np.asarray(Image.open(io.BytesIO(done.data))).astype(int) for done in (one, other))
        # Tolerance: another rounding in the resize, and at hard edges where the ringing is cut off.
        assert np.abs(a - b).mean() < 0.4 and np.abs(a - b).max() <= 16
        assert np.abs(one.cells.astype(int) - other.cells).max() < 65535 * 0.01
