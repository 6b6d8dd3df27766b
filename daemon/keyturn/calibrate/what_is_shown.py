"""What each film frame shows, from the looks at all of them: codes that fit together, black, or another picture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from keyturn.calibrate.film_frames import SURE, FilmFrame
from keyturn.calibrate.screen_looks import FilmLook
from keyturn.calibrate.stick_plan import LOGO, StickPlan

F32 = NDArray[np.float32]

NEIGHBOURS = 3
"""A number must fit one of so many read before it, and one of so many after it."""

AHEAD = 1.15
"""A radio shows at most so many times its rate: film and radio go by clocks of their own."""

LIT = 0.2
"""Share of the light of a bright cell from which a field of the rough picture is lit."""

BLACK_SHARE = 0.05
"""Most of the fields that may be lit on a black screen."""

TAIL_S = 1.0
"""The last seconds of the film that show what the screen comes to."""

ALIKE = 0.7
"""Correlation of rough pictures from which two are the same one."""


def frames(looks: Sequence[FilmLook], fps: int, by_eye: bool) -> tuple[FilmFrame, ...]:
    """Return what each film frame shows, on a stick of this rate and kind."""
    numbers = _numbers(looks, StickPlan.of(fps, by_eye=by_eye))
    told = [_coded(look, number) for look, number in zip(looks, numbers, strict=True)]
    read = [i for i, number in enumerate(numbers) if number is not None]
    if not read:
        return tuple(told)
    ground = _Ground([looks[i] for i in read])
    first = next((i for i in read if numbers[i] != LOGO), read[-1])
    for i in range(len(looks)):
        if numbers[i] is None and not first < i < read[-1] and ground.is_black(looks[i]):
            told[i] = FilmFrame(looks[i].at_s, "black", None, 1.0)
    dark = max((i for i in range(read[-1] + 1, len(looks)) if told[i].shows == "black"), default=read[-1])
    after = [i for i in range(dark + 1, len(looks)) if told[i].shows == "unread"]  # the home screen goes dark no more
    for i, like in zip(after, ground.likeness_to_the_end([looks[i] for i in after], looks[-1].at_s), strict=True):
        if like >= ALIKE:
            told[i] = FilmFrame(looks[i].at_s, "other", None, min(1.0, like))
    return tuple(told)


def _coded(look: FilmLook, number: int | None) -> FilmFrame:
    if number is None or look.read is None:
        return FilmFrame(look.at_s, "unread", None, min(look.read.confidence, SURE / 2) if look.read else 0.0)
    return FilmFrame(look.at_s, "logo" if number == LOGO else "frame", number, look.read.confidence)


def _numbers(looks: Sequence[FilmLook], plan: StickPlan) -> list[int | None]:
    """Return the number read in each frame, None where none was read for sure or it does not fit those around it."""
    read = [
        (i, look.at_s, look.read.code.number)
        for i, look in enumerate(looks)
        if look.read and look.read.confidence >= SURE and look.read.code.stick == (plan.fps, plan.by_eye)
    ]
    numbers: list[int | None] = [None] * len(looks)
    for place, (i, at_s, number) in enumerate(read):
        before, after = read[max(0, place - NEIGHBOURS) : place], read[place + 1 : place + 1 + NEIGHBOURS]
        fits_before = not before or any(_follows(plan, n, number, at_s - s) for _, s, n in before)
        fits_after = not after or any(_follows(plan, number, n, s - at_s) for _, s, n in after)
        if fits_before and fits_after:
            numbers[i] = number
    return numbers


def _follows(plan: StickPlan, number: int, later: int, after_s: float) -> bool:
    """Whether a radio can show `later` so many seconds after `number`."""
    most = after_s * plan.fps * AHEAD + 2
    if later > plan.frames:  # what stays after the count follows whatever its last frame was
        return True
    part = plan.part_of(number)
    if later < number:
        return part is not None and part.plays > 1 and part is plan.part_of(later)
    return later - number <= most


class _Ground:
    """How dark each field of the screen gets while codes are read, and how bright a bright cell is.

    A field counts as dark as it is for a quarter of the time: a hand makes it darker for a moment.
    """

    def __init__(self, read: Sequence[FilmLook]) -> None:
        rough = [look.rough for look in read if look.rough is not None]
        self._dark = np.quantile(rough, 0.25, axis=0)
        self._light = float(np.median([look.read.bright - look.read.dark for look in read if look.read]))

    def is_black(self, look: FilmLook) -> bool:
        if look.rough is None or look.read is not None or look.marks > 1:
            return False
        return float((look.rough > self._dark + LIT * self._light).mean()) <= BLACK_SHARE

    def likeness_to_the_end(self, looks: Sequence[FilmLook], end_s: float) -> list[float]:
        """Return how far each look is like the end of the film, from -1 to 1.

        The end is known where its last frames are alike, three of them at least.
        """
        tail = [look.rough for look in looks if look.rough is not None and look.at_s >= end_s - TAIL_S]
        if len(tail) < 3:
            return [0.0] * len(looks)
        end = np.median(tail, axis=0)
        steady = np.mean([self._alike(each, end) >= ALIKE for each in tail]) >= 0.5
        return [self._alike(look.rough, end) if steady and look.rough is not None else 0.0 for look in looks]

    def _alike(self, one: F32, other: F32) -> float:
        """Return the correlation of two rough pictures, without the light that was there all the time.

        Each field counts with those around it: without marks the screen is not followed, and a hand still shakes.
        """
        a, b = (_with_neighbours(each - self._dark) for each in (one, other))
        a, b = a - a.mean(), b - b.mean()
        return float((a * b).sum() / max(1e-6, float(np.sqrt((a * a).sum() * (b * b).sum()))))


def _with_neighbours(rough: F32) -> F32:
    """Return the mean of each field and the eight around it."""
    wide = np.pad(rough, 1, mode="edge")
    return np.asarray(sliding_window_view(wide, (3, 3)).mean(axis=(2, 3)), np.float32)
