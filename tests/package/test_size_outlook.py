"""What made frames tell of the size of all: the bytes that there are, and those that are to be expected."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scipy.stats import hypergeom

from keyturn import pipeline
from keyturn.flatten.frame_source import Source
from keyturn.package.crop import Cut
from keyturn.package.frame import Cropped, FrameDone
from keyturn.package.size_outlook import SizeOutlook
from keyturn.pipeline import Bench
from keyturn.radio.trim import Box
from keyturn.renumber.plan import Plan
from keyturn.shop.units import MIB
from keyturn.workers.crew import InlineCrew
from samples import Drop


@pytest.fixture
def plan(drop: Drop, bench: Bench, tmp_path: Path) -> Plan:
    return pipeline.understand(drop(), "van", tmp_path, bench).plans[0]


def playing(plan: Plan, sources: Sequence[Source], limit: float = 1e6, formats: tuple[str, ...] = ("png",)) -> Plan:
    """Return the plan with these sources, for a radio that takes `limit` bytes."""
    changes = {
        "limits": plan.radio.limits.model_copy(update={"zip_mib": limit / MIB}),
        "firmware": plan.radio.firmware.model_copy(update={"frame_formats": formats}),
    }
    part = replace(plan.parts[0], sources=tuple(sources))
    return replace(plan, parts=(part,), radio=plan.radio.model_copy(update=changes))


def stills(folder: Path, sizes: Sequence[int]) -> list[Source]:
    made = []
    for number, size in enumerate(sizes):
        path = folder / f"{number}.png"
        path.touch()
        os.truncate(path, size)
        made.append(Source(path, path.name))
    return made


def frame(data: bytes, cropped: bytes | None = None) -> FrameDone:
    cut = Cropped(cropped, Cut(Box(1, 1, 0, 0), (0, 0, 0))) if cropped is not None else None
    return FrameDone(data, len(data), cut, False, "", b"", np.zeros((1, 1, 3), np.uint16), 0.0, 0.0, ())


def png(pixels: object, **how: int) -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.asarray(pixels, np.uint8)).save(file, "PNG", **how)
    return file.getvalue()


def test_a_frame_counts_as_often_as_it_is_in_the_zip_by_its_smallest_file(plan: Plan, tmp_path: Path) -> None:
    first, second = stills(tmp_path, [10, 10])
    size = SizeOutlook(playing(plan, [first, second, first, first]))
    assert size.sources == (first, second)
    size.add(first, frame(bytes(100)))
    size.add(first, frame(bytes(100)))
    size.add(second, frame(bytes(80), bytes(30)))
    assert (size.bytes_made, size.made) == (330, 2) and size.expected() == 330


def test_the_others_are_expected_to_weigh_as_their_files_do(plan: Plan, tmp_path: Path) -> None:
    """A file of twice the usual size may hold anything, so it counts as a usual one."""
    sources = stills(tmp_path, [1000, 1000, 500, 2000, 1000])
    size = SizeOutlook(playing(plan, sources))
    size.add(sources[0], frame(bytes(300)))
    assert size.expected() == 300 * (1 + 1 + 0.5 + 1 + 1)


def test_drawn_frames_count_alike(plan: Plan) -> None:
    sources = [Source(None, f"glide {n}") for n in range(10)]
    size = SizeOutlook(playing(plan, sources, limit=500))
    size.add(sources[4], frame(bytes(100)))
    assert size.expected() == 1000 and size.chance() == 0.5


def test_of_light_files_and_of_drawn_frames_beside_stills_nothing_is_foretold(plan: Plan, tmp_path: Path) -> None:
    sources = [*stills(tmp_path, [1000] * 6 + [100] * 4), Source(None, "glide")]
    size = SizeOutlook(playing(plan, sources, limit=301))
    size.add(sources[0], frame(bytes(50)))
    assert size.chance() == 1.0, "six of them have 300 bytes"
    size = SizeOutlook(playing(plan, sources, limit=300 / 2))
    size.add(sources[0], frame(bytes(50)))
    assert size.chance() == 0.5


@pytest.mark.parametrize("light", [30, 50, 90])
def test_the_chance_is_no_smaller_than_that_of_missing_the_light_frames(plan: Plan, tmp_path: Path, light: int) -> None:
    """Of 100 frames some have no bytes, and the others fill the zip. Eight chosen at random miss them all with the
    probability that SciPy gives."""
    sources = [Source(None, f"glide {n}") for n in range(100)]
    size = SizeOutlook(playing(plan, sources, limit=1000 * (100 - light)))
    for source in sources[:8]:
        size.add(source, frame(bytes(1000)))
    missed = hypergeom(100, light, 8).pmf(0)
    assert missed <= size.chance() and size.chance() == pytest.approx((1 - light / 100) ** 8)
    assert size.chance(16) == pytest.approx(size.chance() ** 2)


def test_it_is_too_large_once_the_made_frames_are(plan: Plan) -> None:
    sources = [Source(None, f"glide {n}") for n in range(10)]
    size = SizeOutlook(playing(plan, sources, limit=250))
    seen = []
    for source in sources[:4]:
        size.add(source, frame(bytes(100)))
        seen.append(size.is_too_large())
    assert seen == [False, False, True, True]


def test_harder_packing_and_jpeg_are_tried_on_a_few_files(plan: Plan) -> None:
    """A flat picture stored without compression becomes small by packing; noise has a third of its bytes as JPEG."""
    noise = np.random.default_rng(1).integers(0, 256, (64, 48, 3))
    for data, formats, large in (
        (png(np.zeros((64, 48, 3)), compress_level=0), ("png",), False),
        (png(noise), ("png",), True),
        (png(noise), ("png", "jpeg"), False),
        (b"\xff\xd8" + bytes(9000), ("jpeg",), True),
    ):
        sources = [Source(None, f"glide {n}") for n in range(10)]
        size = SizeOutlook(playing(plan, sources, limit=1.5 * len(data), formats=formats))
        for source in sources[:2]:
            size.add(source, frame(data))
        assert size.is_too_large()
        size.look_into([data], InlineCrew(), size.is_too_large)
        assert size.is_too_large() is large
        assert size.expected() == pytest.approx(10 * len(data)) if formats == ("jpeg",) else size.expected() > 0


def test_where_jpeg_makes_it_fit_nothing_is_packed_harder(plan: Plan) -> None:
    """Harder packing takes seconds a frame, JPEG some hundredths of one."""
    tried: list[int | None] = []

    class Noting(InlineCrew):
        def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
            listed = list(jobs)
            tried.extend(job.quality for job in listed)
            return super().run(task, listed, names)

    noise = png(np.random.default_rng(1).integers(0, 256, (64, 48, 3)))
    sources = [Source(None, f"glide {n}") for n in range(10)]
    for share, qualities in ((1.5, [80]), (0.1, [80, None])):
        size = SizeOutlook(playing(plan, sources, limit=share * len(noise), formats=("png", "jpeg")))
        for source in sources[:2]:
            size.add(source, frame(noise))
        tried.clear()
        size.look_into([noise], Noting(), size.is_too_large)
        assert tried == qualities
