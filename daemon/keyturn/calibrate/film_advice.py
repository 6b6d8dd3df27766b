"""What keeps a film from being read, and how to film it better."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from keyturn.calibrate.screen_looks import FilmLook
from keyturn.shop.reasons import Reason, note, refuse

SMALL = 0.25
"""Share of the film's height below which a screen is too small to be read surely."""

FAINT = 40.0
"""Levels of 255 between bright and dark below which a film is too dark or washed out."""

ALL_MARKS = 6

USUAL_SHARE = 0.8
"""Share of the film frames of the count in which a number is read at least, in a film without doubts."""

PROPPED = "film anew, the phone propped up straight before the screen, with all six ring marks in the film"


def without_screen(name: str, frames: int) -> list[Reason]:
    """Return why a film of so many frames is refused in which no calibration picture of this panel was found."""
    what = f"no calibration picture of this radio was found in {frames} film frames"
    return [
        refuse("film-without-screen", what, "film the stick that was made for this radio", file=name),
        note("film-how", "the screen must be easy to see", PROPPED, file=name),
    ]


def hardly_readable(name: str, looks: Sequence[FilmLook], numbers: int) -> list[Reason]:
    """Return why a film is refused in which too few `numbers` were read."""
    what = f"frame numbers were read in {numbers} film frames only"
    return [refuse("film-hardly-readable", what, PROPPED, file=name), likeliest_cause(name, looks)]


def often_unreadable(name: str, looks: Sequence[FilmLook], share: float) -> list[Reason]:
    """Return why a film is refused in which a number was read in too small a `share` of the frames `looks`."""
    what = f"the count was read in {100 * share:.0f} of 100 film frames"
    return [refuse("film-often-unreadable", what, PROPPED, file=name), likeliest_cause(name, looks)]


def doubts(name: str, looks: Sequence[FilmLook], share: float) -> list[Reason]:
    """Return what makes a reading less sure; `looks` are those from the first number to the last."""
    if share >= USUAL_SHARE:
        return []
    what = f"the count was read in {100 * share:.0f} of 100 film frames"
    return [note("film-partly-unread", what, PROPPED, file=name), likeliest_cause(name, looks)]


def likeliest_cause(name: str, looks: Sequence[FilmLook]) -> Reason:
    """Return what most likely made the film hard to read, and what helps against it."""
    tall = median([look.tall for look in looks if look.tall] or [0.0])
    light = median([look.read.bright - look.read.dark for look in looks if look.read] or [0.0])
    marks = median([look.marks for look in looks] or [0])
    if tall < SMALL:
        what = f"the screen is only {100 * tall:.0f} % as high as the film"
        return note("film-screen-small", what, "go closer: it should be at least half as high", file=name)
    if light < FAINT:
        what = "bright and dark can hardly be told apart on the screen"
        mend = "lock the phone's exposure on the screen, and shade the glass"
        return note("film-faint", what, mend, file=name)
    if marks < ALL_MARKS - 1:
        what = "a reflection or a hand covers part of the glass"
        return note("film-screen-covered", what, "shade the glass, and keep hands away from it", file=name)
    what = "it is blurred, or the screen flickers in it"
    return note("film-blurred", what, "rest the phone on something, and film 30 or 60 pictures a second", file=name)
