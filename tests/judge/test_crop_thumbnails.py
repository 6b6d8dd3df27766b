"""Thumbnails of pictures: small, whole, upright, in sRGB and on the job's ground; their colours in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keyturn.flatten.frame_source import Source
from keyturn.judge.crop_thumbnails import PX, ThumbnailJob, make_thumbnails
from keyturn.shop import rulebook

INTAKE = rulebook.load().intake
LEFT, RIGHT = (200, 40, 30), (20, 60, 180)


def halves(size: tuple[int, int]) -> Image.Image:
    picture = Image.new("RGB", size, LEFT)
    picture.paste(RIGHT, (size[0] // 2, 0, *size))
    return picture


def thumbnails(path: Path, *indices: int, ground: tuple[int, int, int] = (0, 0, 0)) -> list[np.ndarray]:
    sources = tuple(Source(path, path.name, index) for index in indices) or (Source(path, path.name),)
    return list(make_thumbnails(ThumbnailJob(sources, ground, INTAKE)))


@pytest.mark.parametrize("ending", ["png", "jpg", "tif", "webp", "bmp", "gif"])
def test_a_large_picture_becomes_a_thumbnail(tmp_path: Path, ending: str) -> None:
    halves((640, 320)).save(tmp_path / f"a.{ending}")
    (made,) = thumbnails(tmp_path / f"a.{ending}")
    assert made.shape == (PX // 2, PX, 3) and made.dtype == np.uint8
    # Each half is flat, so the mean of any square of it is its colour; lossy kinds move it by a few steps.
    assert np.abs(made[:, :30].astype(int) - LEFT).max() <= 8 and np.abs(made[:, 34:].astype(int) - RIGHT).max() <= 8


def test_a_small_picture_stays_as_it_is(tmp_path: Path) -> None:
    halves((20, 10)).save(tmp_path / "a.png")
    assert (thumbnails(tmp_path / "a.png")[0] == np.asarray(halves((20, 10)))).all()


def test_it_is_upright(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # CIPA DC-008: the stored left side is the top
    halves((640, 320)).save(tmp_path / "a.jpg", exif=exif)
    (made,) = thumbnails(tmp_path / "a.jpg")
    assert made.shape == (PX, PX // 2, 3)
    assert np.abs(made[:30].astype(int) - LEFT).max() <= 8 and np.abs(made[34:].astype(int) - RIGHT).max() <= 8


def test_what_is_clear_shows_the_ground(tmp_path: Path) -> None:
    cut_out = halves((640, 320)).convert("RGBA")
    cut_out.putalpha(Image.new("L", cut_out.size, 0))
    cut_out.save(tmp_path / "a.png")
    assert (thumbnails(tmp_path / "a.png", ground=(1, 2, 3))[0] == (1, 2, 3)).all()


@pytest.mark.parametrize("ending", ["gif", "webp", "png"])
def test_pictures_of_a_clip_by_number(tmp_path: Path, ending: str) -> None:
    pictures = [Image.new("RGB", (90, 60), (40 * i, 100, 20)) for i in range(6)]
    how = {"lossless": True} if ending == "webp" else {}
    pictures[0].save(tmp_path / f"a.{ending}", save_all=True, append_images=pictures[1:], duration=80, **how)
    made = thumbnails(tmp_path / f"a.{ending}", 0, 2, 5)
    assert [tuple(thumbnail[5, 5].tolist()) for thumbnail in made] == [(0, 100, 20), (80, 100, 20), (200, 100, 20)]
