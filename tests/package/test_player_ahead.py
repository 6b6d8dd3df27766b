"""The player's pictures that are made with their frames: those that would be made afterwards, and no more of them than
the sheet has room for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from keyturn.commands import make_by_hand
from keyturn.flatten.frame_source import Source
from keyturn.normalize.fit import Fit
from keyturn.package import player_ahead
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.package.player_patch import PatchJob, PictureJob, make_picture
from keyturn.pipeline import Bench
from keyturn.shop import rulebook
from keyturn.shop.papers import Papers
from keyturn.shop.records import RadioPlayer
from keyturn.workers.crew import InlineCrew
from samples import Drop

INTAKE = rulebook.load().intake
FRAMES = 12


class NotingCrew(InlineCrew):
    def __init__(self) -> None:
        self.jobs: list[Any] = []

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        return super().run(task, (self.jobs.append(job) or job for job in jobs), names)

    def of(self, kind: type) -> list[Any]:
        return [job for job in self.jobs if isinstance(job, kind)]


@pytest.fixture
def made(drop: Drop, bench: Bench, tmp_path: Path) -> Callable[..., tuple[RadioPlayer, NotingCrew]]:
    """made(picture of a number, radio, megabytes): the player's record, and what the crew was asked for."""

    def make(
        drawn: Callable[[int], Image.Image], radio: str = "wide-1024x600", megabytes: float = 6.0
    ) -> tuple[RadioPlayer, NotingCrew]:
        name = f"van-{len(list(tmp_path.iterdir()))}"
        manifest = f'customer = "Fern Hollow Mobile Library"\njob = "van"\nradio = "{radio}"\n'
        root = drop(name, manifest=manifest, frames=0)
        for number in range(1, FRAMES + 1):
            drawn(number).save(root / "lamps" / f"{number}.png")
        crew = NotingCrew()
        at = replace(bench, crew=crew, papers=Papers(sheet_mb=megabytes))
        (player,) = make_by_hand.make(root, tmp_path / f"out-{name}", at).made.player.radios
        return player, crew

    return make


def lamp(number: int) -> Image.Image:
    """A box that moves over a ground: little of it differs from the first picture."""
    picture = Image.linear_gradient("L").resize((1024, 600)).convert("RGB")
    picture.paste((250, 200, 90), (40 * number, 200, 40 * number + 60, 260))
    return picture


def grain(number: int) -> Image.Image:
    """All of it differs."""
    noise: NDArray[np.uint8] = np.random.default_rng(number).integers(0, 60, (600, 1024, 3), dtype=np.uint8)
    return Image.fromarray(noise)


@pytest.mark.parametrize("radio", ["wide-1024x600", "wide-1024x600-16bit"])
@pytest.mark.parametrize("drawn", [lamp, grain])
def test_they_are_the_pictures_that_would_be_made_afterwards(
    made: Callable[..., tuple[RadioPlayer, NotingCrew]],
    monkeypatch: pytest.MonkeyPatch,
    drawn: Callable[[int], Image.Image],
    radio: str,
) -> None:
    """Afterwards they are made of the files for the stick, which `test_player_pictures` holds against Pillow."""
    with_frames, crew = made(drawn, radio)
    assert len(crew.of(PictureJob)) == 2, "the first frame and the last, which stand still"
    monkeypatch.setattr(player_ahead, "WORTH_A_BASE", FRAMES + 1)
    afterwards, crew = made(drawn, radio)
    assert len(crew.of(PictureJob)) == FRAMES
    assert with_frames == afterwards


def test_they_are_asked_for_as_long_as_the_sheet_may_have_room_for_all(
    made: Callable[..., tuple[RadioPlayer, NotingCrew]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(player_ahead, "TOLD_BY", 3)
    _, crew = made(grain, megabytes=1.0)
    asked = [job for job in crew.of(FrameJob) if job.patch]
    assert 3 <= len(asked) < FRAMES - 2
    _, crew = made(lamp, megabytes=1.0)
    assert len([job for job in crew.of(FrameJob) if job.patch]) == FRAMES - 2


# -- one frame --------------------------------------------------------------------------------------

LOOK = Look(Fit((48, 64)), (11, 29, 42), 24, "png", 4.0, 32)


@pytest.fixture
def frame(tmp_path: Path) -> FrameJob:
    first, second = (Source(tmp_path / name, name) for name in ("1.png", "2.png"))
    for number, source in enumerate((first, second)):
        assert source.path
        grain(number).crop((0, 0, 48, 64)).save(source.path)
    return FrameJob(second, LOOK, INTAKE, patch=PatchJob(first, 32, 75))


def test_a_picture_says_what_it_was_laid_beside(frame: FrameJob) -> None:
    assert frame.patch
    done = make_frame(frame)
    base = make_frame(replace(frame, source=frame.patch.base, patch=None))
    assert done.patch and done.patch.base == base.digest
    assert done.patch.picture == make_picture(PictureJob(done.data, base.data, 32, 75))


def test_a_frame_is_made_though_the_first_of_its_part_is_broken(frame: FrameJob) -> None:
    assert frame.patch and frame.patch.base.path
    frame.patch.base.path.write_bytes(b"no picture")
    done = make_frame(frame)
    assert done.patch is None
    assert done == replace(make_frame(replace(frame, patch=None)), cells=done.cells)


def test_a_jpeg_frame_has_none_with_it(frame: FrameJob) -> None:
    """The player shows what JPEG has left of a picture, which is known when the file is read again."""
    assert make_frame(replace(frame, look=replace(LOOK, format="jpeg"))).patch is None
