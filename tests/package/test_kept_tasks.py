"""Every task whose results are kept gives the same results from a disk as from a worker, whatever its job."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from keyturn.flatten.figures import Figure, Placed
from keyturn.flatten.frame_source import Source
from keyturn.flatten.motion import Pose
from keyturn.judge.crop_thumbnails import ThumbnailJob, make_thumbnails
from keyturn.normalize import probing
from keyturn.normalize.fit import Fit
from keyturn.normalize.sheet_cells import SheetJob, filled
from keyturn.package.frame import FrameJob, Look, make_frame
from keyturn.package.kept_tasks import KEPT_TASKS
from keyturn.package.picture_tasks import Compare, compare
from keyturn.package.player_patch import PatchJob, PictureJob, make_picture
from keyturn.package.repack import Recode, recode
from keyturn.shop import rulebook
from keyturn.shop.file_digests import FileDigests
from keyturn.shop.kept_results import KeptResults
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import InlineCrew
from keyturn.workers.keeping_crew import KeepingCrew
from samples import picture

INTAKE = rulebook.load().intake
LOOK = Look(Fit((48, 64)), (11, 29, 42), 24, "png", 4.0, 32, palette=True, trim="any")


class CountingCrew(InlineCrew):
    def __init__(self) -> None:
        self.done = 0

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        for result in super().run(task, jobs, names):
            self.done += 1
            yield result


def once(kept: KeptResults, task: Callable[[Any], Any], job: Any) -> tuple[Any, int]:
    """The result, and how often a worker was asked for it."""
    crew = CountingCrew()
    (result,) = KeepingCrew(crew, kept, KEPT_TASKS, FileDigests(), b"1").run(task, [job], lambda one: "")
    return result, crew.done


@pytest.fixture
def kept(tmp_path: Path) -> KeptResults:
    return KeptResults(tmp_path / "kept", 2**26)


@pytest.fixture
def art(tmp_path: Path) -> Path:
    return drawn(tmp_path / "lamp.png")


def drawn(path: Path, number: int = 1, **saving: Any) -> Path:
    path.parent.mkdir(exist_ok=True)
    picture((60, 64), number).save(path, **saving)
    os.utime(path, (time.time() - 100,) * 2)
    return path


def file(path: Path) -> bytes:
    return path.read_bytes()


def jobs(art: Path) -> dict[Callable[[Any], Any], Any]:
    source = Source(art, art.name)
    return {
        make_frame: FrameJob(
            source, LOOK, INTAKE, patch=PatchJob(Source(drawn(art.with_name("base.png"), 7), ""), 32, 75)
        ),
        make_thumbnails: ThumbnailJob((source,), (1, 2, 3), INTAKE),
        probing.look: probing.ProbeJob(art, art.name, INTAKE),
        filled: SheetJob(art, art.name, INTAKE, ((0, 0, 30, 64), (30, 0, 60, 64))),
        recode: Recode(file(art), 80, art.name),
        make_picture: PictureJob(file(art), None, 32, 60, art.name),
        compare: Compare(file(art), file(drawn(art.with_name("other.png"), 5)), 32),
    }


def test_each_task_is_tried_here(art: Path) -> None:
    assert set(jobs(art)) == {task.task for task in KEPT_TASKS}


@pytest.mark.parametrize("task", [task.task for task in KEPT_TASKS], ids=lambda task: task.__name__)
def test_a_kept_result_equals_the_one_that_was_made(kept: KeptResults, art: Path, task: Callable[[Any], Any]) -> None:
    job = jobs(art)[task]
    made, first = once(kept, task, job)
    found, again = once(kept, task, job)
    assert (first, again) == (1, 0)
    assert type(found) is type(made) and repr(found) == repr(made)
    if task is make_frame:
        assert found.cells.dtype == made.cells.dtype and np.array_equal(found.cells, made.cells)
        assert found.data == made.data and found.cropped == made.cropped and found.patch == made.patch is not None
    if task is make_thumbnails:
        assert np.array_equal(found[0], made[0])


LOOKS = {
    "size": replace(LOOK, fit=Fit((48, 60))),
    "fit": replace(LOOK, fit=Fit((48, 64), "contain")),
    "focus": replace(LOOK, fit=Fit((48, 64), focus=(0.1, 0.5))),
    "ground": replace(LOOK, ground=(0, 0, 0)),
    "bits": replace(LOOK, bits=16),
    "format": replace(LOOK, format="jpeg"),
    "cells": replace(LOOK, cell_px=5.0),
    "thumbnail": replace(LOOK, thumb_px=30),
    "palette": replace(LOOK, palette=False),
    "trim": replace(LOOK, trim="none"),
}


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_another_look_is_another_frame(kept: KeptResults, art: Path, look: Look) -> None:
    job = FrameJob(Source(art, art.name), LOOK, INTAKE)
    once(kept, make_frame, job)
    _, asked = once(kept, make_frame, replace(job, look=look))
    assert asked == 1


def test_other_rules_are_another_frame(kept: KeptResults, art: Path) -> None:
    job = FrameJob(Source(art, art.name), LOOK, INTAKE)
    once(kept, make_frame, job)
    caps = INTAKE.caps.model_copy(update={"picture_mpx": 3.0})
    _, asked = once(kept, make_frame, replace(job, intake=INTAKE.model_copy(update={"caps": caps})))
    assert asked == 1


def sources(art: Path) -> dict[str, Source]:
    still = Source(art, art.name)
    pose = Pose(24.0, 32.0, 20.0, 0.0, 1.0)
    figure = Figure("sprite.png", drawn(art.with_name("sprite.png"), 9))
    return {
        "still": still,
        "view": replace(still, view=(0.0, 0.0, 30.0, 40.0)),
        "another view": replace(still, view=(1.0, 0.0, 31.0, 40.0)),
        "cell": replace(still, cell=(0, 0, 30, 40)),
        "backdrop": replace(still, backdrop=(drawn(art.with_name("road.png"), 3), "road.png")),
        "figure": replace(still, figures=(Placed(figure, pose),)),
        "another pose": replace(still, figures=(Placed(figure, replace(pose, opacity=0.5)),)),
        "dissolve": replace(still, into=(Source(figure.path, "sprite.png"), 0.5)),
        "ground alone": Source(None, "job.toml"),
    }


def test_each_way_to_a_frame_is_kept_apart(kept: KeptResults, art: Path) -> None:
    every = sources(art)
    for turn in (1, 0):
        for source in every.values():
            _, asked = once(kept, make_frame, FrameJob(source, LOOK, INTAKE))
            assert asked == turn


@pytest.mark.parametrize("kind", ["backdrop", "figure", "dissolve"])
def test_a_changed_second_picture_is_noticed(kept: KeptResults, art: Path, kind: str) -> None:
    job = FrameJob(sources(art)[kind], LOOK, INTAKE)
    once(kept, make_frame, job)
    for other in ("road.png", "sprite.png"):
        if art.with_name(other).exists():
            drawn(art.with_name(other), 12)
    _, asked = once(kept, make_frame, job)
    assert asked == 1


def test_pictures_of_a_clip_are_kept_by_their_place(kept: KeptResults, tmp_path: Path) -> None:
    clip = tmp_path / "van.gif"
    first, *rest = [picture((48, 64), n) for n in range(4)]
    first.save(clip, save_all=True, append_images=rest, duration=50)
    os.utime(clip, (time.time() - 100,) * 2)
    made = [once(kept, make_frame, FrameJob(Source(clip, "van.gif", n), LOOK, INTAKE)) for n in range(4)]
    assert len({result.digest for result, _ in made}) == 4
    found = [once(kept, make_frame, FrameJob(Source(clip, "film/van.gif", n), LOOK, INTAKE)) for n in range(4)]
    assert [asked for _, asked in found] == [0] * 4
    assert [result.digest for result, _ in found] == [result.digest for result, _ in made]


def test_a_player_picture_is_known_by_the_bytes_of_its_file_and_its_base(kept: KeptResults, art: Path) -> None:
    one, two, three = (file(drawn(art.with_name(f"{number}.png"), number)) for number in (1, 2, 3))
    job = PictureJob(one, two, 32, 60, "lamp.png")
    again = PictureJob(bytes(bytearray(one)), bytes(bytearray(two)), 32, 60, "renamed.png")
    others = (replace(job, file=three), replace(job, base=three), replace(job, base=None), PictureJob(two, one, 32, 60))
    assert once(kept, make_picture, job)[1] == 1
    assert once(kept, make_picture, again)[1] == 0
    assert [once(kept, make_picture, other)[1] for other in others] == [1, 1, 1, 1]


def test_a_file_made_smaller_and_two_compared_are_known_by_their_bytes(kept: KeptResults, art: Path) -> None:
    one, two, three = (file(drawn(art.with_name(f"{n}.png"), n)) for n in (1, 2, 3))
    smaller, compared = Recode(one, 80, "lamp.png"), Compare(one, two, 32)
    for task, job, again, others in (
        (recode, smaller, replace(smaller, data=bytes(bytearray(one)), name="b.png"), (replace(smaller, data=two),)),
        (
            compare,
            compared,
            replace(compared, a=bytes(bytearray(one))),
            (replace(compared, b=three), Compare(two, one, 32)),
        ),
    ):
        once(kept, task, job)
        assert once(kept, task, again)[1] == 0
        assert [once(kept, task, other)[1] for other in others] == [1] * len(others)


def test_reasons_name_the_file_of_the_drop_in_hand(kept: KeptResults, tmp_path: Path) -> None:
    """A CMYK picture without a profile gets a note that names its file."""
    art = tmp_path / "inks.jpg"
    Image.new("CMYK", (48, 64), (10, 20, 30, 40)).save(art)
    os.utime(art, (time.time() - 100,) * 2)
    made, _ = once(kept, make_frame, FrameJob(Source(art, "inks.jpg"), LOOK, INTAKE))
    found, asked = once(kept, make_frame, FrameJob(Source(art, "lamps/0001.jpg"), LOOK, INTAKE))
    assert asked == 0
    assert [reason.file for reason in made.reasons] == ["inks.jpg"]
    assert [reason.file for reason in found.reasons] == ["lamps/0001.jpg"]
    assert [reason.what for reason in found.reasons] == [reason.what for reason in made.reasons]


def test_a_broken_picture_is_refused_each_time(kept: KeptResults, tmp_path: Path) -> None:
    art = drawn(tmp_path / "lamp.png")
    art.write_bytes(art.read_bytes()[:60])
    for _ in range(2):
        refused, asked = once(kept, make_frame, FrameJob(Source(art, "lamp.png"), LOOK, INTAKE))
        assert asked == 1 and isinstance(refused, Refused)
