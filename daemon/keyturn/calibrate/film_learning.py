"""Learn from films of a calibration stick how long a radio boots, how it times frames, and which player it has.

Nothing is guessed: what the films do not tell is left open, and `doubts` says what would tell it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from keyturn.calibrate.film_frames import FilmReading
from keyturn.calibrate.film_stretches import FilmRuns, Oddity, Time, interval_line, runs_of, times_of
from keyturn.calibrate.film_timeline import FILM_ANEW, FilmTimeline, timeline
from keyturn.calibrate.line_fit import Line, at_place
from keyturn.calibrate.player_fit import PlayerFit, fits
from keyturn.calibrate.player_seen import PlayerSeen, player_seen
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, Refused, refuse

SHORTEST_BOOT_S = 0.1
LONGEST_BOOT_S = 600
"""What a profile may state (`radio_profile.Seconds`)."""

APART = 0.02
"""Films whose intervals lie further apart than this share, and than their errors allow, contradict each other."""

LATEST_OPENING = 6
"""From so many unseen frames on, the line through those that were seen does not tell when frame 1 came."""

TOO_FAST = 0.01
"""No player shows frames more than this share faster than its rate; a phone's clock is better than that."""


@dataclass(frozen=True, slots=True)
class FilmedStart:
    """A start on film. Times in s; `line` is that of the film's own plain frames.

    `boot_s` is the time from frame 1 to the home screen, `error_s` its standard error. `shown_s` is the time until the
    last frame went: less, where the screen is dark before the home screen.
    """

    timeline: FilmTimeline
    first_s: float
    boot_s: float
    shown_s: float
    error_s: float
    line: Line
    oddities: tuple[Oddity, ...]

    @property
    def last(self) -> int:
        """The last number of the count that was seen."""
        return self.timeline.counted[-1].number


@dataclass(frozen=True, slots=True)
class FilmedRate:
    """What the films of one stick's rate tell: the interval of plain frames, and every time."""

    fps: int
    line: Line
    times: tuple[Time, ...]


@dataclass(frozen=True, slots=True)
class FilmLearnt:
    """All that was learnt. `fit` is the kind of player taken for the costs, `seen` what is known of the player.

    `banding` says whether the screen shows 16-bit colours, None where the films do not tell. `notes` are the doubts of
    those that read the films.
    """

    radio: str
    starts: tuple[FilmedStart, ...]
    rates: tuple[FilmedRate, ...]
    fit: PlayerFit
    seen: PlayerSeen
    banding: bool | None
    notes: tuple[Reason, ...]


def learn_films(radio: Radio, readings: Sequence[FilmReading]) -> FilmLearnt:
    """Learn from films of one radio's starts, of one or more sticks.

    Raise `Refused` with all reasons where films do not show a whole start, contradict each other, or fit no player.
    """
    films = [runs_of(film) for film in _timelines(readings)]
    films.sort(key=lambda film: film.timeline.plan.fps)
    by_rate = [list(group) for _, group in groupby(films, key=lambda film: film.timeline.plan.fps)]
    rates = tuple(_rate(group) for group in by_rate)
    starts = tuple(_start(film, rate.line) for rate, group in zip(rates, by_rate, strict=True) for film in group)
    _check_alike(rates, starts)
    found = fits([time for rate in rates for time in rate.times])
    if not found:
        what = "no player shows a stick as these films do: a film may be slow motion, cut, or of another radio"
        raise Refused([refuse("film-fits-no-player", what, FILM_ANEW, file=start.timeline.film) for start in starts])
    as_known = sorted(found, key=lambda fit: fit.kind.pacing != radio.player.pacing)
    interval_s = {rate.fps: rate.line.slope for rate in rates}
    timelines = [start.timeline for start in starts]
    seen = player_seen(as_known, timelines, [interval_s[film.plan.fps] for film in timelines])
    notes = tuple(dict.fromkeys(note for reading in readings for note in reading.doubts))
    return FilmLearnt(radio.name, starts, rates, as_known[0], seen, _banding(readings), notes)


def _timelines(readings: Sequence[FilmReading]) -> list[FilmTimeline]:
    """Return the films' timelines. Raise `Refused` with the reasons of every film that cannot be used."""
    found: list[FilmTimeline] = []
    reasons: list[Reason] = []
    known: dict[tuple[float, ...], str] = {}
    for reading in readings:
        times = tuple(frame.at_s for frame in reading.frames if frame.number is not None)
        if (same := known.setdefault(times, reading.film)) != reading.film:
            what = f"it is the same film as {same}: a start must not count twice"
            reasons.append(refuse("film-doubled", what, "leave one of the two out", file=reading.film))
            continue
        try:
            found.append(timeline(reading))
        except Refused as refused:
            reasons += refused.reasons
    if reasons:
        raise Refused(reasons)
    return found


def _rate(films: Sequence[FilmRuns]) -> FilmedRate:
    """Return what the films of one rate tell. Raise `Refused` where too little of the count is seen."""
    line = interval_line(films, "plain")
    if line is None:
        what = "too few frames of the count were read to tell how quickly they follow each other"
        raise Refused([refuse("film-too-short", what, FILM_ANEW, file=film.timeline.film) for film in films])
    return FilmedRate(films[0].timeline.plan.fps, line, tuple(times_of(films)))


def _start(film: FilmRuns, shared: Line) -> FilmedStart:
    """Return the start. Frame 1 came where the line through the first frames passes it, within what the film shows."""
    shown = film.timeline
    line = interval_line([film], "plain") or shared
    first_s = shown.first.middle
    spread_s = shown.first.width
    opening = next((run for run in film.runs if (run.part, run.play) == (0, 0)), None)
    if opening and opening.counted[0].place <= LATEST_OPENING and len(opening.counted) > 2:
        reach = at_place(opening.bracketed, shared, 0)
        low, high = max(reach.low, shown.first.after), min(reach.high, shown.first.by)
        if low <= high:
            first_s, spread_s = (low + high) / 2, high - low
    boot_s, shown_s = shown.home.middle - first_s, shown.cut.middle - first_s
    if not SHORTEST_BOOT_S <= boot_s <= LONGEST_BOOT_S:
        what = f"a boot of {boot_s:.1f} s is none"
        raise Refused([refuse("film-boot-impossible", what, FILM_ANEW, file=shown.film)])
    error_s = math.hypot(spread_s, shown.home.width) / math.sqrt(12)  # any moment of a bracket is equally likely
    return FilmedStart(shown, first_s, boot_s, shown_s, error_s, line, film.oddities)


def _check_alike(rates: Sequence[FilmedRate], starts: Sequence[FilmedStart]) -> None:
    """Raise `Refused` where frames follow each other faster than the stick's rate, or in one film unlike in others."""
    reasons = []
    shared = {rate.fps: rate.line for rate in rates}
    for start in starts:
        fps, own = start.timeline.plan.fps, start.line
        usual = shared[fps]
        if own.slope < (1 - TOO_FAST) / fps - 3 * own.error:
            what = f"a frame takes {own.slope * 1000:.1f} ms in it, and no player takes less than {1000 / fps:.1f} ms"
            reasons.append(refuse("film-too-fast", what, FILM_ANEW, file=start.timeline.film))
        elif abs(own.slope - usual.slope) > APART * usual.slope + 3 * math.hypot(own.error, usual.error):
            what = f"a frame takes {own.slope * 1000:.1f} ms in it, and {usual.slope * 1000:.1f} ms in all films"
            mend = "leave out the films of another radio, and those that are not at normal speed"
            reasons.append(refuse("film-unlike-others", what, mend, file=start.timeline.film))
    if reasons:
        raise Refused(reasons)


def _banding(readings: Sequence[FilmReading]) -> bool | None:
    told = {reading.banding for reading in readings} - {None}
    return told.pop() if len(told) == 1 else None
