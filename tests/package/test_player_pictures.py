"""The pictures of the sheet's player: as large as their file allows, and the same pictures as on the stick."""

from __future__ import annotations

import base64
import io
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from keyturn.commands import make_by_hand
from keyturn.package import player_ahead, player_pictures
from keyturn.package.animation import data_uri
from keyturn.package.player_patch import PictureDone, PictureJob
from keyturn.package.player_pictures import SAMPLE
from keyturn.package.radio_job import PLAYER_SHARE
from keyturn.pipeline import Bench
from keyturn.shop.papers import Papers
from keyturn.shop.records import PlayerPicture, RadioPlayer
from samples import Drop

Made = Callable[..., tuple[RadioPlayer, list[Image.Image]]]

PANEL = (768, 1024)
KNOWN: dict[tuple[float, float, int], tuple[RadioPlayer, list[Image.Image]]] = {}
"""What was made for one test serves the next."""

MANIFEST = 'customer = "Fern Hollow Mobile Library"\nradio = "tall-768x1024"\n'


def scene(lamp: int, grain: float = 0.0) -> Image.Image:
    """A hill at dusk, and a lamp that stands in another place in each picture."""
    rows = np.linspace(20, 90, PANEL[1])[:, None, None] * np.array([0.4, 0.6, 1.0])
    sky = np.broadcast_to(rows, (PANEL[1], PANEL[0], 3))
    noise = np.random.default_rng(lamp).normal(0, grain, sky.shape) if grain else 0
    picture = Image.fromarray(np.clip(sky + noise, 0, 255).astype(np.uint8))
    ImageDraw.Draw(picture).ellipse((100 * lamp, 400, 100 * lamp + 80, 480), fill=(250, 200, 90))
    return picture


@pytest.fixture
def made(drop: Drop, bench: Bench, tmp_path: Path) -> Made:
    """made(grain, megabytes, frames): the player's record, and the frames on the stick in playing order."""

    def make(grain: float = 0.0, megabytes: float = 6.0, frames: int = 4) -> tuple[RadioPlayer, list[Image.Image]]:
        if (asked := (grain, megabytes, frames)) in KNOWN:
            return KNOWN[asked]
        root = drop(manifest=MANIFEST, frames=0)
        for number in range(1, frames + 1):
            scene(number, grain).save(root / "lamps" / f"{number}.png")
        done = make_by_hand.make(root, tmp_path / "out", replace(bench, papers=Papers(sheet_mb=megabytes)))
        (player,) = done.made.player.radios
        assert done.folder is not None
        with zipfile.ZipFile(next(done.folder.rglob("bootanimation.zip"))) as archive:
            names = sorted(name for name in archive.namelist() if name.startswith("part0/") and name.endswith("g"))
            pictures = [Image.open(io.BytesIO(archive.read(name))).convert("RGB") for name in names]
        return KNOWN.setdefault(asked, (player, pictures))

    return make


def opened(picture: PlayerPicture) -> Image.Image:
    return Image.open(io.BytesIO(base64.b64decode(picture.data.partition(",")[2]))).convert("RGB")


def drawn(player: RadioPlayer, number: int) -> Image.Image:
    """As the player draws it: the base in the player's size, and the box over it."""
    by_number = {picture.number: picture for picture in player.pictures}
    picture = by_number[number]
    if picture.base is None:
        return opened(picture)
    whole = drawn(player, picture.base).resize((player.width, player.height), Image.Resampling.BILINEAR)
    whole.paste(opened(picture), (picture.left, picture.top))
    return whole


def psnr(a: Image.Image, b: Image.Image) -> float:
    """Peak signal-to-noise ratio in dB (ISO/IEC 29170-1 and any handbook): 10 log10(255^2 / mean squared error)."""
    x, y = (np.asarray(image, dtype=np.float64) for image in (a, b))
    error = float(np.mean((x - y) ** 2))
    return 99.0 if error == 0 else 10 * np.log10(255**2 / error)


def test_each_picture_of_the_player_is_the_frame_on_the_stick(made: Made) -> None:
    """Against Pillow's reading of the frames and of the WebP files. Above 35 dB a loss is hard to see (common practice,
    no source)."""
    player, frames = made()
    for number, frame in enumerate(frames):
        shown = drawn(player, number)
        wanted = frame if shown.size == frame.size else frame.resize(shown.size, Image.Resampling.LANCZOS)
        assert psnr(shown, wanted) > 35


def test_pictures_that_stand_still_have_the_panels_size_and_moving_ones_540_on_the_short_side(made: Made) -> None:
    player, frames = made()
    whole = {picture.number: opened(picture).size for picture in player.pictures if picture.base is None}
    assert whole[player.logo] == whole[0] == whole[len(frames) - 1] == PANEL
    assert (player.width, player.height) == (540, 720)


def test_of_a_moving_picture_only_the_box_that_differs_is_kept(made: Made) -> None:
    player, _ = made()
    (second,) = [picture for picture in player.pictures if picture.number == 1]
    assert second.base == 0
    box = opened(second)
    assert box.width < 200 and box.height < 70, "two lamps 180 pixels apart, at 540 of 768"


def test_pictures_keep_to_their_share_and_a_size_is_given_up_as_soon_as_it_surely_does_not(
    made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Grain does not compress: there smaller pictures are taken, never more bytes. Chosen is what all samples would
    choose: the first size of which they keep to the budget."""
    tried: dict[tuple[int | None, int], list[int]] = {}
    make = player_pictures.make_picture

    def make_noted(job: PictureJob) -> PictureDone:
        done = make(job)
        if job.base is not None:  # a moving picture
            tried.setdefault((job.short_side, job.quality), []).append(len(data_uri(done.webp)))
        return done

    monkeypatch.setattr(player_pictures, "make_picture", make_noted)
    monkeypatch.setattr(player_ahead, "WORTH_A_BASE", 999)  # each picture is made by itself
    player, frames = made(grain=30.0, megabytes=1.0, frames=12)
    assert sum(len(picture.data) for picture in player.pictures) <= 1.05e6
    assert min(player.width, player.height) < 540
    moving = len(frames) - 2
    standing = sum(len(picture.data) for picture in player.pictures if picture.number in (0, len(frames) - 1))
    most = (PLAYER_SHARE * 1e6 - standing) * SAMPLE / moving
    failed = [sizes for sizes in tried.values() if len(sizes) <= SAMPLE]
    assert failed
    for sizes in failed:
        assert sum(sizes) > most >= sum(sizes[:-1])
    assert min(map(len, failed)) < SAMPLE
