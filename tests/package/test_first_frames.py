"""Animations that could never fit are refused after a few frames, with every picture that cannot be read."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from keyturn import pipeline
from keyturn.commands import make_by_hand
from keyturn.flatten.frame_source import Source
from keyturn.package.first_frames import FIRST, first_frames
from keyturn.package.frame import FrameDone, make_frame
from keyturn.package.radio_job import RadioJob
from keyturn.package.repack import Recoded
from keyturn.package.size_outlook import SizeOutlook
from keyturn.pipeline import Bench
from keyturn.png.chunks import PNG_SIGNATURE
from keyturn.shop.progress import Progress
from keyturn.shop.reasons import Kind, Reason, Refused
from keyturn.shop.units import MIB
from keyturn.workers.crew import InlineCrew
from samples import Drop

COUNT = 4 * FIRST


class Counting(InlineCrew):
    """A crew that notes the sources of the frames it makes."""

    def __init__(self) -> None:
        self.made: list[str] = []

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        for job in jobs:
            if task is make_frame:
                self.made.append(names(job))
            yield from super().run(task, [job], names)


def noisy(root: Path, width: int = 48) -> Path:
    """Turn the pictures of a drop to noise, of which the left `width` columns stay."""
    for number, path in enumerate(sorted((root / "lamps").iterdir())):
        pixels = np.zeros((64, 48, 3), np.uint8)
        pixels[:, :width] = np.random.default_rng(number).integers(0, 256, (64, width, 3))
        Image.fromarray(pixels).save(path)
    return root


def limited(bench: Bench, kib: float, formats: tuple[str, ...] = ("png",)) -> tuple[Bench, Counting]:
    """Return the bench with a radio "tiny" that takes so much, and the crew that counts."""
    radio = bench.rules.radios["tiny"]
    changes = {
        "limits": radio.limits.model_copy(update={"zip_mib": kib / 1024}),
        "firmware": radio.firmware.model_copy(update={"frame_formats": formats}),
    }
    rules = bench.rules.model_copy(update={"radios": {"tiny": radio.model_copy(update=changes)}})
    return replace(bench, rules=rules, crew=(crew := Counting())), crew


def refusals(root: Path, bench: Bench) -> list[Reason]:
    with pytest.raises(Refused) as caught:
        make_by_hand.check(root, bench)
    return [reason for reason in caught.value.reasons if reason.kind is Kind.REFUSE]


def test_what_could_never_fit_is_refused_after_a_few_frames(drop: Drop, bench: Bench) -> None:
    """Noise does not compress: a frame is its 9 KiB of pixels and little more."""
    few, crew = limited(bench, 9 * COUNT / 4)
    (reason,) = refusals(noisy(drop(frames=COUNT)), few)
    assert reason.code == "zip-too-large" and "would be about" in reason.what
    assert "about 7 of its 33 frames fit" in reason.mend or "about 8 of its 33 frames fit" in reason.mend
    assert len(crew.made) == FIRST


def test_every_picture_that_cannot_be_read_is_told_with_it(drop: Drop, bench: Bench) -> None:
    root = noisy(drop(frames=COUNT))
    for name in ("0001.png", "0006.png", "0032.png"):
        data = bytearray((root / "lamps" / name).read_bytes())
        data[data.index(b"IDAT") + 12] ^= 0xFF  # found when it is decoded, not when its header is read
        (root / "lamps" / name).write_bytes(data)
    found = refusals(root, limited(bench, 9 * COUNT / 4)[0])
    assert sorted(r.file for r in found if r.file) == ["lamps/0001.png", "lamps/0006.png", "lamps/0032.png"]
    assert len(found) == 4


@pytest.mark.parametrize(("share", "more"), [(0.95, ""), (0.25, "[motion]\nthin = true\n")])
def test_where_it_may_fit_after_all_every_frame_is_made_once(drop: Drop, bench: Bench, share: float, more: str) -> None:
    """Where a few frames are left when it is too large, they are made, and the size is known."""
    manifest = f'customer = "Fern Hollow Mobile Library"\nradio = "tiny"\n{more}'
    few, crew = limited(bench, 9 * COUNT * share)
    root = noisy(drop(frames=COUNT, manifest=manifest))
    if more:
        make_by_hand.check(root, few)
    else:
        assert "would be" not in refusals(root, few)[0].what
    assert len(set(crew.made)) == COUNT and len(crew.made) == COUNT + 1, "and the logo, which is frame 1"


def test_frames_that_are_too_large_already_are_the_last(drop: Drop, bench: Bench) -> None:
    """A frame of noise has 9 KiB of pixels and little more, so that those made are more than the radio takes."""
    few, crew = limited(bench, 9 * COUNT / 1.6)
    (reason,) = refusals(noisy(drop(frames=COUNT)), few)
    made = len(crew.made) - 1  # one is the logo
    assert "would be about 0.3 MiB" in reason.what and f"as {made} of its frames show" in reason.what
    assert 9.3 * made > 9 * COUNT / 1.6 > 9 * (made - 2)


def test_a_clip_that_is_too_large_already_is_read_no_further(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """None of its frames is made first, for it is read from its beginning."""
    root = drop(frames=0)
    frames = [Image.fromarray(np.random.default_rng(n).integers(0, 256, (64, 48, 3), np.uint8)) for n in range(COUNT)]
    frames[0].save(root / "lamps" / "lamps.png", save_all=True, append_images=frames[1:], duration=100)
    few, crew = limited(bench, 9 * COUNT / 4)
    (reason,) = refusals(root, few)
    assert reason.code == "zip-too-large" and "would be about" in reason.what
    assert COUNT / 4 <= len(crew.made) - 1 < COUNT / 2


# -- several radios -----------------------------------------------------------------------------------


def two_radios(bench: Bench, kib: float, other_kib: float) -> tuple[Bench, Counting]:
    """Return the bench with the radios "tiny" and "other", which take so much."""
    few, crew = limited(bench, kib)
    other, _ = limited(bench, other_kib)
    renamed = other.rules.radios["tiny"].model_copy(update={"name": "other"})
    radios = {"tiny": few.rules.radios["tiny"], "other": renamed}
    return replace(few, rules=few.rules.model_copy(update={"radios": radios})), crew


BOTH = 'customer = "Fern Hollow Mobile Library"\nradio = ["tiny", "other"]\n'


def test_every_radio_that_it_is_too_large_for_is_told(drop: Drop, bench: Bench) -> None:
    root = noisy(drop(frames=COUNT, manifest=BOTH))
    bench, crew = two_radios(bench, 9 * COUNT / 4, 9 * COUNT / 5)
    found = refusals(root, bench)
    assert [(r.code, "tiny" in r.what, "other" in r.what) for r in found] == [
        ("zip-too-large", True, False),
        ("zip-too-large", False, True),
    ]
    assert len(crew.made) == 2 * FIRST


def test_a_radio_that_takes_it_is_not_told_of(drop: Drop, bench: Bench) -> None:
    root = noisy(drop(frames=COUNT, manifest=BOTH))
    (reason,) = refusals(root, two_radios(bench, 9 * COUNT / 4, 9 * COUNT * 2)[0])
    assert reason.what.endswith("tiny takes 0.0703125 MiB")


def test_what_was_found_of_a_radio_before_is_told_too(drop: Drop, bench: Bench) -> None:
    """All frames are made for the first radio, which takes nearly all of them."""
    root = noisy(drop(frames=COUNT, manifest=BOTH))
    found = refusals(root, two_radios(bench, 9 * COUNT * 0.95, 9 * COUNT / 4)[0])
    assert [r.code for r in found].count("zip-too-large") == 2
    assert any(r.what.startswith("tiny: the animation is ") for r in found)


def test_where_a_picture_is_broken_the_other_radios_are_not_looked_at(drop: Drop, bench: Bench) -> None:
    root = drop(frames=COUNT, manifest=BOTH)
    data = bytearray((root / "lamps" / "0006.png").read_bytes())
    data[data.index(b"IDAT") + 12] ^= 0xFF
    (root / "lamps" / "0006.png").write_bytes(data)
    bench, crew = two_radios(bench, 9 * COUNT, 9 * COUNT)
    assert [r.file for r in refusals(root, bench)] == ["lamps/0006.png"]
    assert len(crew.made) == COUNT + 1


# -- never too early ----------------------------------------------------------------------------------


def every_eighth(number: int, dice: np.random.Generator) -> NDArray[np.uint8]:
    """Noise at even distances, which frames at even distances would take for the whole."""
    noise = dice.integers(0, 256, (64, 48, 3), np.uint8)
    return noise if number % 8 == 0 else np.zeros_like(noise)


def growing(number: int, dice: np.random.Generator) -> NDArray[np.uint8]:
    pixels = np.full((64, 48, 3), 100, np.uint8)
    pixels[: 1 + number] = dice.integers(90, 110, (1 + number, 48, 3), np.uint8)
    return pixels


def hatched(number: int, dice: np.random.Generator) -> NDArray[np.uint8]:
    """Blots of few colours, which harder packing makes much smaller."""
    table = np.random.default_rng(1).integers(60, 110, (6, 3), np.uint8)
    return table[np.kron(dice.integers(0, 6, (16, 12)), np.ones((4, 4), int))]


@pytest.mark.parametrize("kind", [every_eighth, growing, hatched])
@pytest.mark.parametrize("suffix", ["png", "bmp"])
def test_what_fits_to_the_byte_is_made(
    drop: Drop, bench: Bench, tmp_path: Path, kind: Callable[..., NDArray[np.uint8]], suffix: str
) -> None:
    """The zip that is made without a limit, packed as hard as can be, is the limit. All files of BMP are alike."""
    root = drop(frames=0)
    for number in range(COUNT):
        picture = Image.fromarray(kind(number, np.random.default_rng(number)))
        picture.save(root / "lamps" / f"{number:04d}.{suffix}")
    made = make_by_hand.make(root, tmp_path / "free", bench)
    assert made.folder
    size = (made.folder / "usb" / "bootanimation.zip").stat().st_size
    if kind is hatched:
        (packed,) = make_by_hand.check(root, limited(bench, (size - 1) / 1024)[0]).made.record.radios
        size = packed.zip_bytes
    (again,) = make_by_hand.check(root, limited(bench, size / 1024)[0]).made.record.radios
    assert again.zip_bytes == size


class Foretelling(InlineCrew):
    """A crew whose frames have the sizes that their names say; harder packing makes nothing smaller."""

    def __init__(self) -> None:
        self.made = 0

    def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
        for job in jobs:
            if task is make_frame:
                self.made += 1
                size = int(names(job).split()[1])
                yield FrameDone(bytes(size), size, None, False, "", b"", np.zeros((1, 1, 3), np.uint16), 0, 0, ())
            else:
                yield Recoded(job.data, 0.0)


def planned(job: RadioJob, files: Sequence[Path], sizes: Sequence[int], limit: float) -> RadioJob:
    """Return the job with stills of the given files, whose frames have these sizes, for a radio that takes `limit`."""
    sources = tuple(Source(path, f"{i} {size}") for i, (path, size) in enumerate(zip(files, sizes, strict=True)))
    radio = job.plan.radio
    limits = radio.limits.model_copy(update={"zip_mib": limit / MIB})
    (part, *_) = job.plan.parts
    plan = replace(job.plan, parts=(replace(part, sources=sources),), radio=radio.model_copy(update={"limits": limits}))
    return replace(job, plan=plan)


@pytest.fixture
def job(drop: Drop, bench: Bench, tmp_path: Path) -> RadioJob:
    understood = pipeline.understand(drop(), "van", tmp_path, bench)
    record = pipeline._unmade_record(understood, "claim", "van", 1, bench)
    return RadioJob(understood.plans[0], understood.manifest, bench.rules, tmp_path, tmp_path, record, 6)


def refused(job: RadioJob) -> tuple[bool, int]:
    """Whether the first frames refuse the job, and how many they are."""
    crew = Foretelling()
    _, told = first_frames(job, SizeOutlook(job.plan), crew, Progress())
    return told is not None, crew.made


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    """Files of 0 to 199 KB."""
    made = [tmp_path / f"{kb}.png" for kb in range(200)]
    for kb, path in enumerate(made):
        path.touch()
        os.truncate(path, 1000 * kb)
    return made


def chance_of(count: int, dice: np.random.Generator, kind: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the KB of each frame and of its file: of `count` frames of one kind of art."""
    even = dice.uniform(90, 110, count)
    share = dice.uniform(0.05, 0.8)
    if kind == "light at random":
        return np.where(dice.random(count) < share, 1, even), np.full(count, 100.0)
    if kind == "light at even distances":
        return np.where(np.arange(count) % dice.integers(2, 13) == 0, even, 1), np.full(count, 100.0)
    if kind == "light at one end":
        return np.where(np.arange(count) < share * count, 1, even)[:: dice.choice([-1, 1])], np.full(count, 100.0)
    if kind == "growing":
        return np.linspace(1, 150, count), np.full(count, 100.0)
    if kind == "light files":
        light = dice.random(count) < share
        return np.where(light, 1, even), np.where(light, dice.uniform(1, 40, count), even)
    if kind == "odd files":
        return even, np.where(dice.random(count) < 0.2, 199, 20)
    return even, np.clip(even * dice.uniform(0.9, 1.1, count), 1, 199)


KINDS = (
    "even",
    "light at random",
    "light at even distances",
    "light at one end",
    "growing",
    "light files",
    "odd files",
)


@pytest.mark.parametrize("kind", KINDS)
def test_what_would_fit_is_not_refused(job: RadioJob, files: list[Path], kind: str) -> None:
    """The radio takes just what all frames have. Only of art whose light frames lie at random, with files like those of
    the others, may the first frames be mistaken, once in a thousand of the worst of it."""
    dice = np.random.default_rng(KINDS.index(kind))
    wrong, times = 0, 60
    for _ in range(times):
        kb, file_kb = chance_of(int(dice.integers(32, 300)), dice, kind)
        sizes = [int(1000 * size) for size in kb]
        wrong += refused(planned(job, [files[int(size)] for size in file_kb], sizes, sum(sizes)))[0]
    assert wrong == 0


@pytest.mark.parametrize(("times", "made"), [(10.0, 8), (2.8, 8), (1.8, 16), (1.5, 24), (1.3, 32)])
def test_the_less_it_is_too_large_the_more_frames_must_show_it(
    job: RadioJob, files: list[Path], times: float, made: int
) -> None:
    dice = np.random.default_rng(7)
    kb = dice.uniform(98, 102, 128)
    sizes = [int(1000 * size) for size in kb]
    assert refused(planned(job, [files[int(size)] for size in kb], sizes, sum(sizes) / times)) == (True, made)


def test_half_of_those_that_are_packed_harder_are_no_photographs(job: RadioJob) -> None:
    """A quarter of the frames loses half of its bytes. Four frames of all might miss that."""

    class Packing(Foretelling):
        def run(self, task: Callable[[Any], Any], jobs: Iterable[Any], names: Callable[[Any], str]) -> Iterator[Any]:
            for job, done in zip(jobs := list(jobs), super().run(task, jobs, names), strict=True):
                if task is make_frame:
                    drawn = int(names(job).split()[0]) % 4 == 0
                    yield replace(done, data=PNG_SIGNATURE + bytes([drawn]) * done.plain_bytes, photographic=not drawn)
                else:
                    drawn = job.data[-1] == 1
                    yield Recoded(job.data[: len(job.data) // (2 if drawn else 1)], 0.0)

    sources = planned(job, [Path("none.png")] * 64, [1000] * 64, 64_000 / 2.5)
    (part,) = sources.plan.parts
    part = replace(part, sources=tuple(replace(source, path=None) for source in part.sources))
    sources = replace(sources, plan=replace(sources.plan, parts=(part,)))
    _, told = first_frames(sources, SizeOutlook(sources.plan), Packing(), Progress())
    assert told is None


@pytest.mark.parametrize("times", [0.9, 1.0, 1.1])
def test_what_first_frames_cannot_tell_costs_none_more(job: RadioJob, files: list[Path], times: float) -> None:
    sizes = [100_000] * 128
    assert refused(planned(job, [files[100]] * 128, sizes, sum(sizes) / times)) == (False, FIRST)


def test_a_radio_of_jpeg_is_judged_by_jpeg(drop: Drop, bench: Bench) -> None:
    """JPEG of quality 80 has less than half the bytes of noise as PNG."""
    few, crew = limited(bench, 9 * COUNT / 4, ("png", "jpeg"))
    refusals(noisy(drop(frames=COUNT)), few)
    assert len(crew.made) > FIRST
    hopeless, crew = limited(bench, 9 * COUNT / 20, ("png", "jpeg"))
    refusals(noisy(drop("boat", frames=COUNT)), hopeless)
    assert len(crew.made) == FIRST


def test_the_frames_keep_their_order(drop: Drop, bench: Bench, tmp_path: Path) -> None:
    """Those made first are not packed first. Pillow reads both sides."""
    root = noisy(drop(frames=COUNT), width=2)
    made = make_by_hand.make(root, tmp_path / "out", bench)
    assert made.folder is not None
    with zipfile.ZipFile(made.folder / "usb" / "bootanimation.zip") as pack:
        frames = [np.asarray(Image.open(pack.open(f"part0/{n:04d}.png"))) for n in range(1, COUNT + 1)]
    drawn = [np.asarray(Image.open(path)) for path in sorted((root / "lamps").iterdir())]
    assert all(map(np.array_equal, frames, drawn))
