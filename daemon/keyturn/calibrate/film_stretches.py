"""Cut a film's count into stretches in which frames follow each other evenly, and measure how quickly they do.

What is measured: the interval in plain frames, in detailed ones and in a part's later play, and the time from the last
frame of one stretch to the first of the next. `player_fit` says which player these times fit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from statistics import fmean
from typing import Literal

from keyturn.calibrate.film_timeline import Counted, FilmTimeline
from keyturn.calibrate.line_fit import Bracketed, Line, at_place, fitted
from keyturn.calibrate.stick_plan import StickPlan

Work = Literal["plain", "detailed", "again"]
"""What the radio has to do for a frame: decode a plain one, decode a detailed one, or show a part's frame once more."""

WIDEST_STEPS = 2.5
"""A frame's beginning counts where the film shows it this close, in film frames."""

MOST_MISSING = 2
"""A stretch is measured up to its end where at most so many of its last frames were not seen."""


@dataclass(frozen=True, slots=True)
class EvenRun:
    """Frames of one play of a part that followed each other evenly."""

    work: Work
    part: int
    play: int
    counted: tuple[Counted, ...]

    @property
    def bracketed(self) -> Bracketed:
        """When its frames came, by their places."""
        came = [each.came for each in self.counted]
        return Bracketed([each.place for each in self.counted], [c.after for c in came], [c.by for c in came])


@dataclass(frozen=True, slots=True)
class Oddity:
    """Frame `number` was held for `held_s` longer than others, or `skipped` frames after it were never shown."""

    film: str
    number: int
    held_s: float = 0.0
    skipped: int = 0


@dataclass(frozen=True, slots=True)
class FilmRuns:
    """The runs of one film in order, and what was odd between them."""

    timeline: FilmTimeline
    runs: tuple[EvenRun, ...]
    oddities: tuple[Oddity, ...]


@dataclass(frozen=True, slots=True)
class Time:
    """A time that was measured, in seconds, with its standard error.

    Without `after` it is the interval within frames of the work `work`. With it, it is the time from the last frame of
    a stretch of `work` to the first of one of `after`; `pause` is what the row of the earlier one has.
    """

    fps: int
    work: Work
    seconds: float
    error: float
    after: Work | None = None
    pause: int = 0


def runs_of(timeline: FilmTimeline) -> FilmRuns:
    """Return the film's runs. A frame that is held or skipped ends a run, and is no part of any interval."""
    found: list[EvenRun] = []
    odd: list[Oddity] = []
    for (part, play), group in groupby(timeline.counted, key=lambda c: (c.part, c.play)):
        if part in timeline.hidden:
            continue
        shown = [c for c in group if c.came.width <= WIDEST_STEPS * timeline.step_s]
        work = work_of(timeline.plan, part, play)
        for piece in _pieces(timeline, shown, odd):
            found.append(EvenRun(work, part, play, tuple(piece)))
    return FilmRuns(timeline, tuple(found), tuple(odd))


def work_of(plan: StickPlan, part: int, play: int) -> Work:
    """Return what a radio that decodes in the first play has to do for a frame of this part and play."""
    return "again" if play else plan.parts[part].drawn


def _pieces(timeline: FilmTimeline, shown: Sequence[Counted], odd: list[Oddity]) -> Iterator[list[Counted]]:
    """Yield the frames of one play in pieces that follow each other evenly, and note what was odd between them."""
    line = fitted([EvenRun("plain", 0, 0, tuple(shown)).bracketed])
    interval = line.slope if line else 1 / timeline.plan.fps
    piece = list(shown[:1])
    for one, other in pairwise(shown):
        steps = other.place - one.place
        off = other.came.middle - one.came.middle - steps * interval
        unsure = (one.came.width + other.came.width) / 2 + 0.1 * interval + 0.02 * steps * interval
        if abs(off) > unsure:
            if off > 0:
                odd.append(Oddity(timeline.film, one.number, held_s=off))
            elif steps > 1:
                odd.append(Oddity(timeline.film, one.number, skipped=round(-off / interval)))
            yield piece
            piece = []
        piece.append(other)
    yield piece


# -- what is measured -------------------------------------------------------------------------------


def interval_line(films: Sequence[FilmRuns], work: Work) -> Line | None:
    """Return the line through all runs of this work, None where there are too few frames. All films are of one rate."""
    return fitted([run.bracketed for film in films for run in film.runs if run.work == work])


def times_of(films: Sequence[FilmRuns]) -> list[Time]:
    """Return every time that the films of one rate tell."""
    fps = films[0].timeline.plan.fps
    works: tuple[Work, ...] = ("plain", "detailed", "again")
    lines = {work: line for work in works if (line := interval_line(films, work))}
    found = [Time(fps, work, line.slope, line.error) for work, line in lines.items()]
    gaps: dict[tuple[Work, Work, int], list[tuple[float, float]]] = {}
    for film in films:
        for key, seconds, error in _gaps(film, lines):
            gaps.setdefault(key, []).append((seconds, error))
    for (work, after, pause), every in gaps.items():
        error = math.sqrt(fmean(e * e for _, e in every) / len(every))
        found.append(Time(fps, work, fmean(s for s, _ in every), error, after, pause))
    return found


Gap = tuple[tuple[Work, Work, int], float, float]
"""Which works lie on both sides with which pause, the seconds from the last frame to the first, and their error."""


def _gaps(film: FilmRuns, lines: dict[Work, Line]) -> Iterator[Gap]:
    """Yield the time between each two plays that follow each other."""
    plan = film.timeline.plan
    for one, other in pairwise(film.runs):
        if (one.part, one.play) == (other.part, other.play) or not {one.work, other.work} <= set(lines):
            continue
        end = _last_place(plan, one)
        if end - one.counted[-1].place > MOST_MISSING or other.counted[0].place - end - 1 > MOST_MISSING:
            continue
        left = at_place(one.bracketed, lines[one.work], end)
        right = at_place(other.bracketed, lines[other.work], end + 1)
        error = math.hypot(left.width, right.width) / math.sqrt(12)  # all times between are equally likely
        yield (one.work, other.work, plan.parts[one.part].pause), right.middle - left.middle, error


def _last_place(plan: StickPlan, run: EvenRun) -> int:
    earlier = sum(each.frames * each.plays for each in plan.parts[: run.part])
    return earlier + (run.play + 1) * plan.parts[run.part].frames - 1
