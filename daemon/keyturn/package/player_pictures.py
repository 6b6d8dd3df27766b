"""The pictures that the sheet's player shows: large enough to judge the art by, small enough to mail.

Pictures that stand still have the panel's own size. Of a moving picture only the box is kept that differs from its
part's first picture, where that is less; the player draws the one over the other.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from PIL import Image, ImageChops

from keyturn.normalize import decode
from keyturn.package import jpeg_and_webp
from keyturn.package.animation import FrameStore, data_uri
from keyturn.package.radio_job import RadioJob
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.reasons import Refused
from keyturn.shop.records import PlayerPicture, RadioPlayer
from keyturn.workers.crew import Crew, end

MOVING = ((540, 75), (540, 60), (540, 45), (400, 60), (320, 55), (240, 50), (160, 50))
"""Short sides in pixels and WebP qualities of moving pictures. The first that keeps to the budget is taken."""

STILL = ((None, 80), (None, 50), (540, 60), (320, 50), (160, 50))
"""The same for pictures that stand still, which may take half the budget; None is the panel's own size."""

SAMPLE = 8
"""So many moving pictures are tried, evenly spaced, to tell what all of them would take."""

PATCH_AT_MOST = 0.9
"""A box of a larger share of the picture saves nothing: the picture is kept whole."""


@dataclass(frozen=True, slots=True)
class PictureJob:
    """One picture of the player. `file` and `base` are PNG or JPEG files of the panel's size; `name` is its source's.

    `short_side` in pixels is that of the picture to make; None keeps the panel's size.
    """

    file: bytes
    base: bytes | None
    short_side: int | None
    quality: int
    name: str = ""


@dataclass(frozen=True, slots=True)
class PictureDone:
    """A WebP file and its place: `at` is the upper left corner on the base, None for a picture that needs none.

    `size` is (width, height) of the whole picture in pixels.
    """

    webp: bytes
    at: tuple[int, int] | None
    size: tuple[int, int]


def make_picture(job: PictureJob) -> PictureDone:
    """Return the picture, or its box that differs from the base. Runs in a worker."""
    picture = _small(job.file, job.short_side)
    if job.base is not None:
        box = ImageChops.difference(picture, _small_base(job.base, job.short_side)).getbbox() or (0, 0, 1, 1)
        if (box[2] - box[0]) * (box[3] - box[1]) <= PATCH_AT_MOST * picture.width * picture.height:
            return PictureDone(jpeg_and_webp.webp(picture.crop(box), job.quality), box[:2], picture.size)
    return PictureDone(jpeg_and_webp.webp(picture, job.quality), None, picture.size)


def _small(file: bytes, short_side: int | None) -> Image.Image:
    with Image.open(io.BytesIO(file)) as opened:
        picture = (decode.quickly(opened, io.BytesIO(file)) or opened).convert("RGB")
    return jpeg_and_webp.reduced(picture, 1.0 if short_side is None else short_side / min(picture.size))


@lru_cache(maxsize=2)
def _small_base(file: bytes, short_side: int | None) -> Image.Image:
    """Every picture of a part has the same base."""
    return _small(file, short_side)


def player_of(
    job: RadioJob, logo: int, parts: Sequence[Sequence[int]], store: FrameStore, crew: Crew
) -> RadioPlayer | None:
    """Return the player's pictures of one radio; None where even the smallest would take more than the job's budget.

    `logo` and `parts` are picture numbers of the store, each part's in playing order. Raise `Refused` where a worker
    fails with a picture.
    """
    bases = {number: part[0] for part in reversed(parts) for number in part}
    still = {logo, parts[0][0], parts[-1][-1], *(part[0] for part in parts if len(set(part)) == 1)}
    moving = [number for number in sorted(bases) if number not in still]
    work = _Work(store, crew, bases)
    standing = work.still_pictures(sorted(still), job.player_budget / 2)
    left = job.player_budget - sum(len(picture.data) for picture in standing)
    sample = [moving[at] for at in evenly_spaced(len(moving), SAMPLE)]
    rest = [number for number in moving if number not in sample]
    for short_side, quality in MOVING if moving else MOVING[:1]:
        budget = left * len(sample) / len(moving) if moving else left
        tried = _within(work.pictures(sample, short_side, quality), budget)
        if tried is not None:
            wide, high = work.size(short_side)
            pictures = (*standing, *tried, *work.pictures(rest, short_side, quality))
            return RadioPlayer(radio=job.plan.radio.name, logo=logo, width=wide, height=high, pictures=pictures)
    return None


def _within(pictures: Iterator[PlayerPicture], budget: float) -> list[PlayerPicture] | None:
    """Return the pictures; None as soon as they take more than `budget` characters, and no further one is made."""
    taken: list[PlayerPicture] = []
    size = 0
    for picture in pictures:
        taken.append(picture)
        size += len(picture.data)
        if size > budget:
            end(pictures)
            break
    return taken if size <= budget else None


@dataclass(frozen=True, slots=True)
class _Work:
    """`bases` gives the picture that each picture of a part is compared with: the first of its part."""

    store: FrameStore
    crew: Crew
    bases: dict[int, int]

    def pictures(
        self, numbers: Sequence[int], short_side: int | None, quality: int, *, alone: bool = False
    ) -> Iterator[PlayerPicture]:
        """Yield the pictures; with `alone` each one whole."""
        for number, done in zip(numbers, self._done(numbers, short_side, quality, alone), strict=True):
            picture = PlayerPicture(number=number, data=data_uri(done.webp))
            if done.at is not None:
                place = {"base": self.bases[number], "left": done.at[0], "top": done.at[1]}
                picture = picture.model_copy(update=place)
            yield picture

    def still_pictures(self, numbers: Sequence[int], budget: float) -> list[PlayerPicture]:
        pictures: list[PlayerPicture] = []
        for short_side, quality in STILL:
            pictures = list(self.pictures(numbers, short_side, quality, alone=True))
            if sum(len(picture.data) for picture in pictures) <= budget:
                break
        return pictures

    def size(self, short_side: int) -> tuple[int, int]:
        """Return the (width, height) of moving pictures in pixels."""
        return _small(self._read(next(iter(self.bases))), short_side).size

    def _done(
        self, numbers: Sequence[int], short_side: int | None, quality: int, alone: bool = False
    ) -> Iterator[PictureDone]:
        jobs = (self._job(number, short_side, quality, alone) for number in numbers)
        for done in self.crew.run(make_picture, jobs, lambda job: job.name):
            if isinstance(done, Refused):
                raise done
            yield done

    def _job(self, number: int, short_side: int | None, quality: int, alone: bool) -> PictureJob:
        base = None if alone or self.bases[number] == number else self._read(self.bases[number])
        name = self.store.file(number).name
        return PictureJob(self._read(number), base, short_side, quality, name)

    def _read(self, number: int) -> bytes:
        return self.store.read(self.store.file(number))
