"""What was read from a film of a start: each film frame with its time and what the screen shows in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from keyturn.calibrate.stick_plan import StickPlan
from keyturn.shop.reasons import Reason

ScreenShows = Literal["logo", "frame", "black", "other", "unread"]
"""The stick's boot logo; a frame of the stick (or its OVER picture); no light; another picture; none of these for sure.

A hand before the screen, glare over all of a code and a blend of two pictures are "unread"."""

SURE = 0.9
"""From this confidence on, a frame's number counts as read."""

Corners = tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]
"""Top left, top right, bottom right, bottom left: x and y in shares of the film's width and height."""


@dataclass(frozen=True, slots=True)
class FilmFrame:
    """A frame of the film, `at_s` seconds after the film's first frame by the film's own time stamps.

    `number` is the one in the code: that of the stick's frame, `stick_plan.LOGO` or `stick_plan.OVER`; None where no
    code was read. `confidence` is 0 to 1; a number below `SURE` is never stated.
    """

    at_s: float
    shows: ScreenShows
    number: int | None
    confidence: float


@dataclass(frozen=True, slots=True)
class FilmReading:
    """All that was read from the film named `film`, its frames in the order of their times.

    `plan` is that of the stick as its code tells; its count has no end, since the code does not state the length.
    `screen` is where the screen was seen first. `banding` says whether the screen shows colours of 16 bits, None where
    the film does not tell. `doubts` are what makes the reading less sure, as notes; a film that cannot be read raises
    `Refused` instead.
    """

    film: str
    plan: StickPlan
    frames: tuple[FilmFrame, ...]
    screen: Corners
    banding: bool | None
    doubts: tuple[Reason, ...]
