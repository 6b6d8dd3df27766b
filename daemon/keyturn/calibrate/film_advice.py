"""What keeps a film from being read, and how to film it better."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from keyturn.calibrate.screen_looks import FilmLook
from keyturn.shop.reasons import Reason, note, refuse

SMALL = 0.25
"""Share of the film's height below which a screen is too small to be read surely."""

FAINT = 40.0
"""Levels of 255 between bright and dark below which a film is too dark or washed out."""

ALL_MARKS = 6

PROPPED = "prop the phone up straight before the screen, with all six ring marks in the film"


def without_screen(name: str, looks: Sequence[FilmLook]) -> Reason:
    """Return the refusal of a film in which no calibration picture of this panel was found."""
    what = f"no screen with this radio's calibration pictures was found in {len(looks)} film frames"
    mend = (
        "film the stick that was made for this radio; " + PROPPED + ", the screen at least half as high as the film, "
        "the phone's exposure locked on the screen and no reflection on the glass"
    )
    return refuse("film-without-screen", what, mend, file=name)


def hardly_readable(name: str, looks: Sequence[FilmLook], numbers: int) -> Reason:
    """Return the refusal of a film with too few `numbers` read in it."""
    what = f"frame numbers were read in {numbers} film frames only; {_cause(looks)}"
    return refuse("film-hardly-readable", what, _mend(looks), file=name)


def often_unreadable(name: str, looks: Sequence[FilmLook], share: float) -> Reason:
    """Return the refusal of a film in which a number was read in too small a `share` of the frames `looks`."""
    what = f"the count was read in {100 * share:.0f} of 100 film frames; {_cause(looks)}"
    return refuse("film-often-unreadable", what, _mend(looks), file=name)


def doubts(name: str, looks: Sequence[FilmLook], share: float) -> Iterator[Reason]:
    """Yield what makes a reading less sure; `looks` are those from the first number to the last."""
    if share < 0.8:
        what = f"the count was read in {100 * share:.0f} of 100 film frames; {_cause(looks)}"
        yield note("film-partly-unread", what, _mend(looks), file=name)


def _cause(looks: Sequence[FilmLook]) -> str:
    return _cause_and_mend(looks)[0]


def _mend(looks: Sequence[FilmLook]) -> str:
    return _cause_and_mend(looks)[1]


def _cause_and_mend(looks: Sequence[FilmLook]) -> tuple[str, str]:
    """Return the likeliest cause, and what helps against it."""
    tall = median([look.tall for look in looks if look.tall] or [0.0])
    light = median([look.read.bright - look.read.dark for look in looks if look.read] or [0.0])
    marks = median([look.marks for look in looks] or [0])
    if tall < SMALL:
        return (
            f"the screen is {100 * tall:.0f} % of the film's height",
            f"go closer: at least half the height; {PROPPED}",
        )
    if light < FAINT:
        return (
            "it is too dark or washed out",
            f"lock the phone's exposure on the screen, and shade the glass; {PROPPED}",
        )
    if marks < ALL_MARKS - 1:
        return "a reflection or a hand covers part of the glass", f"shade the glass and keep hands away; {PROPPED}"
    return "it is blurred or the screen flickers in it", f"{PROPPED}, and film at 30 or 60 pictures a second"
