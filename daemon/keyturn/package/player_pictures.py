"""The pictures that the sheet's player shows: large enough to judge the art by, small enough to mail.

Pictures that stand still have the panel's own size, moving ones may be smaller (see `player_patch`).
"""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, islice
from typing import NamedTuple

from PIL import Image

from keyturn.package import jpeg_and_webp
from keyturn.package.animation import FrameStore, data_uri
from keyturn.package.player_ahead import PlayerAhead, PlayerLook
from keyturn.package.player_patch import PictureDone, PictureJob, make_picture, share
from keyturn.package.radio_job import RadioJob
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.reasons import Refused
from keyturn.shop.records import PlayerPicture, RadioPlayer
from keyturn.workers.crew import Crew, end

MOVING: tuple[tuple[int, int], ...] = ((540, 75), (540, 60), (540, 45), (400, 60), (320, 55), (240, 50), (160, 50))
"""Looks of moving pictures. The first that keeps to the budget is taken."""

STILL: tuple[PlayerLook, ...] = ((None, 80), (None, 50), (540, 60), (320, 50), (160, 50))
"""The same for pictures that stand still, which may take half the budget."""

SAMPLE = 8
"""So many moving pictures are tried, evenly spaced, to tell what all of them would take."""


def player_of(
    job: RadioJob, logo: int, parts: Sequence[Sequence[int]], store: FrameStore, ahead: PlayerAhead, crew: Crew
) -> RadioPlayer | None:
    """Return the player's pictures of one radio; None where even the smallest would take more than the job's budget.

    `logo` and `parts` are picture numbers of the store, each part's in playing order. What is in `ahead` is not made
    again. Raise `Refused` where a worker fails with a picture.
    """
    bases = {number: part[0] for part in reversed(parts) for number in part}
    still = sorted({logo, parts[0][0], parts[-1][-1], *(part[0] for part in parts if len(set(part)) == 1)})
    moving = [number for number in sorted(bases) if number not in still]
    work = _Work(store, ahead, crew, bases)
    sample = [moving[at] for at in evenly_spaced(len(moving), SAMPLE)]
    each = (*sample, *(number for number in moving if number not in sample))
    # one run of the crew for what is most often taken: no worker waits for a decision
    run = work.pictures(chain(_asked(still, STILL[0], alone=True), _asked(each, MOVING[0])))
    standing = _within(run, len(still), job.player_budget / 2)
    if standing is None:
        standing = work.smaller_stills(still, job.player_budget / 2)
        run = work.pictures(_asked(each, MOVING[0]))
    left = job.player_budget - sum(len(picture.data) for picture in standing)
    budget = left * len(sample) / len(moving) if moving else left
    for look in MOVING if moving else MOVING[:1]:
        run = run if look is MOVING[0] else work.pictures(_asked(each, look))
        tried = _within(run, len(sample), budget)
        if tried is not None:
            wide, high = work.size(look)
            pictures = (*standing, *tried, *run)
            return RadioPlayer(radio=job.plan.radio.name, logo=logo, width=wide, height=high, pictures=pictures)
    return None


def _asked(numbers: Iterable[int], look: PlayerLook, *, alone: bool = False) -> Iterator[_AskedPicture]:
    return (_AskedPicture(number, look, alone) for number in numbers)


def _within(pictures: Iterator[PlayerPicture], count: int, budget: float) -> list[PlayerPicture] | None:
    """Return the first `count` pictures; None as soon as they take more than `budget` characters: the run is ended."""
    taken = list[PlayerPicture]()
    size = 0
    for picture in islice(pictures, count):
        taken.append(picture)
        size += len(picture.data)
        if size > budget:
            break
    if size <= budget:
        return taken
    end(pictures)
    return None


class _AskedPicture(NamedTuple):
    """A picture to be made: its number, and how it is to look; with `alone` it is whole and needs no base."""

    number: int
    look: PlayerLook
    alone: bool


@dataclass(frozen=True, slots=True)
class _Work:
    """`bases` gives the picture that each picture of a part is compared with: the first of its part.

    `held` has the file of the base that was last asked for.
    """

    store: FrameStore
    ahead: PlayerAhead
    crew: Crew
    bases: dict[int, int]
    held: dict[int, bytes] = field(default_factory=dict)

    def pictures(self, asked: Iterable[_AskedPicture]) -> Iterator[PlayerPicture]:
        """Yield the pictures in their order. Raise `Refused` where a worker fails with one."""
        given: deque[tuple[int, PictureDone | None]] = deque()

        def jobs() -> Iterator[PictureJob]:
            for one in asked:
                known = None if one.alone else self.ahead.found(one.number, self.bases[one.number], one.look)
                given.append((one.number, known))
                if known is None:
                    yield self._job(one)

        def known() -> Iterator[PlayerPicture]:
            while given and (done := given[0][1]):
                yield self._picture(given.popleft()[0], done)

        results = self.crew.run(make_picture, jobs(), lambda job: job.name)
        try:
            for done in results:
                if isinstance(done, Refused):
                    raise done
                yield from known()
                yield self._picture(given.popleft()[0], done)
            yield from known()
        finally:
            end(results)

    def _picture(self, number: int, done: PictureDone) -> PlayerPicture:
        picture = PlayerPicture(number=number, data=data_uri(done.webp))
        if done.at is None:
            return picture
        place = {"base": self.bases[number], "left": done.at[0], "top": done.at[1]}
        return picture.model_copy(update=place)

    def smaller_stills(self, numbers: Sequence[int], budget: float) -> list[PlayerPicture]:
        """Return the pictures that stand still in the first smaller look of `STILL` that keeps to the budget."""
        pictures = list[PlayerPicture]()
        for look in STILL[1:]:
            pictures = list(self.pictures(_asked(numbers, look, alone=True)))
            if sum(len(picture.data) for picture in pictures) <= budget:
                break
        return pictures

    def size(self, look: PlayerLook) -> tuple[int, int]:
        """Return the (width, height) of moving pictures in pixels."""
        with Image.open(io.BytesIO(self._read(next(iter(self.bases))))) as opened:
            return jpeg_and_webp.reduced_size(opened.size, share(opened.size, look[0]))

    def _job(self, asked: _AskedPicture) -> PictureJob:
        number, look, alone = asked
        base = None if alone or self.bases[number] == number else self._base(self.bases[number])
        return PictureJob(self._read(number), base, *look, self.store.file(number).name)

    def _base(self, number: int) -> bytes:
        """Return the file of a base. It is read once for all pictures of its part."""
        if number not in self.held:
            self.held.clear()
            self.held[number] = self._read(number)
        return self.held[number]

    def _read(self, number: int) -> bytes:
        return self.store.read(self.store.file(number))
