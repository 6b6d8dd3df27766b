"""Read a film of a start: what the screen shows in each film frame, with the film's own times.

`read_film` runs in a worker, as films are untrusted (see `grey_frames`). A film that cannot be read raises `Refused`,
which says how to film it better.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from keyturn.calibrate import film_advice, grey_frames, what_is_shown
from keyturn.calibrate.code_layout import CodeLayout
from keyturn.calibrate.film_frames import SURE, Corners, FilmReading
from keyturn.calibrate.screen_looks import FilmLook, ScreenLooks
from keyturn.calibrate.stick_plan import LOGO, OVER, StickPlan
from keyturn.shop.reasons import Refused
from keyturn.shop.rulebook import Intake

FEWEST_NUMBERS = 8
"""Numbers of frames that must be read: one right number could be a chance, so many in order are not."""

READ_SHARE = 0.5
"""Share of the film frames from the first number to the last in which a number must be read."""


@dataclass(frozen=True, slots=True)
class FilmJob:
    """A film to be read: its path, its `name` in reasons, the size of the panel in px, and what the shop takes."""

    path: Path
    name: str
    panel: tuple[int, int]
    intake: Intake


def read_film(job: FilmJob) -> FilmReading:
    """Return what the film shows. Raise `Refused` where it cannot be read, OSError for the shop's disk."""
    looker = ScreenLooks(CodeLayout(job.panel))
    looks = list(looker.at(grey_frames.of(job.path, job.name, job.intake)))
    stick = _stick(looks)
    if stick is None or looker.corners is None:
        raise Refused(film_advice.without_screen(job.name, len(looks)))
    shown = what_is_shown.frames(looks, *stick)
    numbered = [i for i, frame in enumerate(shown) if frame.number not in (None, LOGO, OVER)]
    if len(numbered) < FEWEST_NUMBERS:
        raise Refused(film_advice.hardly_readable(job.name, looks, len(numbered)))
    counted = slice(numbered[0], numbered[-1] + 1)
    share = sum(frame.number is not None for frame in shown[counted]) / len(shown[counted])
    if share < READ_SHARE:
        raise Refused(film_advice.often_unreadable(job.name, looks[counted], share))
    return FilmReading(
        film=job.name,
        plan=StickPlan.of(stick[0], by_eye=stick[1]),
        frames=shown,
        screen=_corners(looker),
        banding=looker.steps.sixteen_bits(),
        doubts=tuple(film_advice.doubts(job.name, looks[counted], share)),
    )


def _stick(looks: Sequence[FilmLook]) -> tuple[int, bool] | None:
    """Return the stick that most codes tell of; None without any."""
    told = Counter(look.read.code.stick for look in looks if look.read and look.read.confidence >= SURE)
    return told.most_common(1)[0][0] if told else None


def _corners(looker: ScreenLooks) -> Corners:
    assert looker.corners is not None
    one, two, three, four = (tuple(np.round(corner, 4).tolist()) for corner in looker.corners)
    return one, two, three, four
