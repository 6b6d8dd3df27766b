"""Put what was read from one film in the order in which the stick is played: when each picture came and went.

A picture comes to the screen between two film frames, so every moment is a `Moment` with two ends. What was not read
for sure (a hand, glare, two pictures blended) only widens it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from keyturn.calibrate.film_frames import SURE, FilmFrame, FilmReading
from keyturn.calibrate.stick_plan import LOGO, OVER, CountPart, StickPlan
from keyturn.shop.reasons import Reason, Refused, refuse

FILM_ANEW = (
    "film the whole start anew at normal speed, from before the logo to the home screen, and give the file as the "
    "phone made it"
)

WIDEST_S, WIDEST_STEPS = 1 / 15, 2.5
"""A boot is known only where the film shows the cut this close, in s or in film frames: within one frame of a film at
30 a second, with one frame that shows two pictures."""


@dataclass(frozen=True, slots=True)
class Moment:
    """Something happened after `after` and at `by` at the latest, in seconds of the film."""

    after: float
    by: float

    @property
    def middle(self) -> float:
        return (self.after + self.by) / 2

    @property
    def width(self) -> float:
        return self.by - self.after


@dataclass(frozen=True, slots=True)
class Stay:
    """Film frames in a row that show the same: from when it `came` to `last`, the last of them. `number` as in
    `FilmFrame`. `came` begins with minus infinity for what the film begins with."""

    shows: str
    number: int | None
    came: Moment
    last: float


@dataclass(frozen=True, slots=True)
class Counted:
    """A frame of the stick on screen. `place` counts from 0 in the order of playing; `part` and `play` count from 0."""

    place: int
    number: int
    part: int
    play: int
    stay: Stay

    @property
    def came(self) -> Moment:
        return self.stay.came


@dataclass(frozen=True, slots=True)
class FilmTimeline:
    """A start as one film shows it.

    `counted` are the stick's frames that were seen. `step_s` is the usual time between two film frames. `logo_s` is how
    long the logo was seen. `first` is when frame 1 came, `cut` when the count or the picture after it went, `home` when
    another picture followed. `black_s` is how long it was black between logo and frame 1 (0: not seen, None: hidden).
    `hidden` are parts of the count that were hidden for so long that their plays cannot be told apart.
    """

    film: str
    plan: StickPlan
    counted: tuple[Counted, ...]
    step_s: float
    logo_s: float
    first: Moment
    black_s: float | None
    over: bool
    cut: Moment
    home: Moment
    hidden: frozenset[int]


def timeline(reading: FilmReading) -> FilmTimeline:
    """Return what the film shows, in order. Raise `Refused` where it does not show a whole start, or contradicts the
    order in which a stick is played."""
    times = [frame.at_s for frame in reading.frames]
    if any(b <= a for a, b in pairwise(times)):
        raise Refused([_wrong(reading, "film-times-wrong", "its frames' times do not ascend")])
    stays = list(_stays(reading.frames))
    counts = [i for i, stay in enumerate(stays) if stay.shows == "frame"]
    if not counts:
        raise Refused([_wrong(reading, "film-without-count", "no frame of a calibration stick was read in it")])
    before, shown, after = stays[: counts[0]], stays[counts[0] : counts[-1] + 1], stays[counts[-1] + 1 :]
    numbered = [stay for stay in shown if stay.shows == "frame"]
    step_s = median(b - a for a, b in pairwise(times))
    _check_whole(reading, (before, shown, after), numbered, step_s)
    counted = _counted(reading, numbered)
    return FilmTimeline(
        film=reading.film,
        plan=reading.plan,
        counted=counted,
        step_s=step_s,
        logo_s=sum(stay.last - stay.came.by for stay in before if stay.shows == "logo"),
        first=numbered[0].came,
        black_s=_black_s(before, numbered[0].came, step_s),
        over=numbered[-1].number == OVER,
        cut=after[0].came,
        home=next(stay.came for stay in after if stay.shows == "other"),
        hidden=_hidden(reading.plan, counted),
    )


def _wrong(reading: FilmReading, code: str, what: str) -> Reason:
    return refuse(code, what, FILM_ANEW, file=reading.film)


# -- what was seen ----------------------------------------------------------------------------------


def _stays(frames: Sequence[FilmFrame]) -> Iterator[Stay]:
    """Yield what was seen for sure, film frames that show the same as one."""
    shows, number, came, last = "", None, Moment(float("-inf"), 0.0), float("-inf")
    for frame in frames:
        if frame.shows == "unread" or (frame.shows == "frame" and (frame.number is None or frame.confidence < SURE)):
            continue
        now = frame.shows, frame.number if frame.shows == "frame" else None
        if now != (shows, number):
            if shows:
                yield Stay(shows, number, came, last)
            shows, number = now
            came = Moment(last, frame.at_s)
        last = frame.at_s
    if shows:
        yield Stay(shows, number, came, last)


def _black_s(before: Sequence[Stay], first: Moment, step_s: float) -> float | None:
    """Return how long the screen was black before frame 1: 0 where the logo went over into it within a film frame,
    None where the film does not show the change."""
    if before and before[-1].shows == "black":
        return before[-1].last - before[-1].came.by + step_s
    return 0.0 if first.width <= 1.5 * step_s else None


def _check_whole(
    reading: FilmReading,
    stays: tuple[Sequence[Stay], Sequence[Stay], Sequence[Stay]],
    numbered: Sequence[Stay],
    step_s: float,
) -> None:
    """Raise `Refused` where the film begins too late or ends too early, hides the cut, or shows two starts."""
    before, shown, after = stays
    found = []
    if not before or not any(stay.shows == "logo" for stay in before):
        found.append(_wrong(reading, "film-starts-late", "it does not show the logo before the count"))
    if not any(stay.shows == "other" for stay in after):
        found.append(_wrong(reading, "film-ends-early", "it ends before the home screen"))
    elif after[0].came.width > max(WIDEST_S, WIDEST_STEPS * step_s):
        what = f"the end of the count is hidden or not in the film for {after[0].came.width:.1f} s"
        found.append(_wrong(reading, "film-hides-the-cut", what))
    if any(stay.shows == "logo" for stay in (*shown, *after)) or any(stay.number == OVER for stay in numbered[:-1]):
        found.append(_wrong(reading, "film-of-two-starts", "the logo comes back after the count, or the count itself"))
    if found:
        raise Refused(found)


# -- the order of playing ---------------------------------------------------------------------------


def _counted(reading: FilmReading, numbered: Sequence[Stay]) -> tuple[Counted, ...]:
    """Return the frames with their places. Raise `Refused` where the order is not that of the stick's plan."""
    found: list[Counted] = []
    part, play, before = 0, 0, 0
    for stay in numbered:
        number = stay.number
        if number is None or number in (LOGO, OVER):
            continue
        now = next((i for i, each in enumerate(reading.plan.parts) if each.first <= number <= each.last), None)
        if now is None:
            raise Refused([_wrong(reading, "film-not-of-a-stick", f"no stick has a frame {number}")])
        play = play + (number < before) if now == part else 0
        if now < part or play >= reading.plan.parts[now].plays:
            what = f"frame {number} comes after frame {before}: a count does not go back"
            raise Refused([_wrong(reading, "film-goes-back", what)])
        part, before = now, number
        found.append(Counted(_place(reading.plan.parts, part, play, number), number, part, play, stay))
    if not found:
        raise Refused([_wrong(reading, "film-without-count", "it shows the end of the count alone")])
    return tuple(found)


def _place(parts: Sequence[CountPart], part: int, play: int, number: int) -> int:
    """Return how many frames are played before frame `number` in this play."""
    whole = sum(each.frames * each.plays for each in parts[:part])
    return whole + play * parts[part].frames + number - parts[part].first


def _hidden(plan: StickPlan, counted: Sequence[Counted]) -> frozenset[int]:
    """Return the repeating parts whose plays cannot be told apart: half a play or more was not seen in one go."""
    hidden = set()
    for before, shown in pairwise(counted):
        for part in {before.part, shown.part}:
            each = plan.parts[part]
            if each.plays > 1 and shown.came.width > each.frames / plan.fps / 2:
                hidden.add(part)
    for number, each in enumerate(plan.parts):
        passed = counted[-1].part > number
        if each.plays > 1 and passed and {c.play for c in counted if c.part == number} != set(range(each.plays)):
            hidden.add(number)
    return frozenset(hidden)
