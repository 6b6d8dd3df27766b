"""Which generation of player the filmed radio behaves like, from what its films show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from keyturn.calibrate.film_timeline import FilmTimeline
from keyturn.calibrate.player_fit import DRAW_MOST_S, PauseUnit, PlayerFit
from keyturn.shop.player_facts import GENERATIONS, Generation, of_generation

UNLIKELY = 0.02
"""A player that is killed would leave the last frame for its whole time in so many shops' films by chance. Keyturn's
own choice."""

SLEEP_S = 0.004
"""Seconds by which a player's sleep may end late (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class PlayerSeen:
    """Facts of rules/players.toml as the films show them; None where they do not.

    `pause_unit` is that of [firmware]; "none" where the radio left out the stick's pauses.
    """

    pacing: str | None = None
    decodes: str | None = None
    boot_end: str | None = None
    pause_check_ms: int | None = None
    black_first: bool | None = None
    pause_unit: PauseUnit | None = None

    @property
    def facts(self) -> dict[str, Any]:
        """What was seen, by its key in [player]."""
        seen = {field.name: getattr(self, field.name) for field in fields(self) if field.name != "pause_unit"}
        return {key: value for key, value in seen.items() if value is not None}

    @property
    def generations(self) -> tuple[Generation, ...]:
        """The generations whose published player does all that was seen, oldest first."""
        return tuple(g for g in GENERATIONS if self._could_be(g))

    def _could_be(self, generation: Generation) -> bool:
        published = of_generation(generation)
        return all(getattr(published, key) == value for key, value in self.facts.items())


def player_seen(fits: Sequence[PlayerFit], films: Sequence[FilmTimeline], interval_s: Sequence[float]) -> PlayerSeen:
    """Return what the films show of the player.

    `fits` are the kinds of player that the times fit, the one that costs are taken from first. `interval_s` is the time
    from one plain frame to the next, film by film.
    """
    unit = _only({fit.kind.pause_unit for fit in fits})
    pairs = list(zip(films, interval_s, strict=True))
    boot_end = _boot_end(fits, pairs)
    return PlayerSeen(
        pacing=_only({fit.kind.pacing for fit in fits}),
        decodes=_only({fit.kind.decodes for fit in fits}),
        boot_end=boot_end,
        pause_check_ms=50 if boot_end == "asked" and _pause_broken_off(fits, films, unit) else None,
        black_first=_black_first(films, fits[0].plain.seconds if fits[0].plain else None),
        pause_unit=unit,
    )


def _only(values: set[Any]) -> Any:
    return values.pop() if len(values) == 1 else None


# -- what happens when the boot ends ----------------------------------------------------------------


def _boot_end(fits: Sequence[PlayerFit], films: Sequence[tuple[FilmTimeline, float]]) -> str | None:
    """Return whether the player was killed, or asked whether the boot was over.

    One that asks does so at the end of a frame's time, so the last frame always stands as long. One that is killed ends
    at any moment; that this was always at the end of a frame's time must be unlikely.
    """
    chance = 1.0
    for film, interval_s in films:
        if film.over or _pause_of_last(film):
            continue
        (low, high), (least, most) = _stands_s(fits, film.plan.fps), _last_stood_s(film)
        spans = [(low, high)]
        if low < film.step_s:  # the film may have missed the last frame; the one before then stood for its whole time
            spans.append((low + interval_s, high + interval_s))
        if least <= interval_s + film.step_s and not any(least <= end and begin <= most for begin, end in spans):
            return "killed"
        chance *= min(1.0, sum(end - begin + most - least for begin, end in spans) / interval_s)
    return "asked" if chance < UNLIKELY else None


def _stands_s(fits: Sequence[PlayerFit], fps: int) -> tuple[float, float]:
    """Return the least and the most time for which a player that asks leaves its last frame, a plain one, on screen.

    It is a frame's time, on a fixed beat less the work until the frame was shown; 0 where that takes longer.
    """
    low, high = 1 / fps, 0.0
    for fit in fits:
        least, most = 1 / fps, 1 / fps
        if fit.kind.pacing == "fixed-beat":
            plain, sure = (fit.plain.seconds, 3 * fit.plain.error) if fit.plain else (0.0, 1.0)
            draw = fit.draw.seconds + 3 * fit.draw.error if fit.draw else DRAW_MOST_S
            least, most = max(0.0, 1 / fps - plain - sure - draw), max(0.0, 1 / fps - plain + sure)
        low, high = min(low, least), max(high, min(most, 1 / fps))
    return low - SLEEP_S, high + SLEEP_S


def _pause_broken_off(fits: Sequence[PlayerFit], films: Sequence[FilmTimeline], unit: PauseUnit | None) -> bool:
    """Return whether a boot ended in a pause, and the pause with it. A pause that is not cut short is followed by a
    frame, whenever the boot ends."""
    for film in films:
        if film.over or not (pause := _pause_of_last(film)) or unit not in ("frames", "seconds"):
            continue
        pause_s = pause if unit == "seconds" else pause / film.plan.fps
        low, _ = _stands_s(fits, film.plan.fps)
        if _last_stood_s(film)[1] < low + pause_s:
            return True
    return False


def held_at_the_end_s(film: FilmTimeline, interval_s: float) -> float:
    """Return for how long the last frame surely stood beyond its own time."""
    if film.over or _pause_of_last(film):
        return 0.0
    return max(0.0, _last_stood_s(film)[0] - interval_s)


def _last_stood_s(film: FilmTimeline) -> tuple[float, float]:
    """Return the least and the most time for which the last frame stood. Frames after it that stood for less than a
    film frame were not seen."""
    last = film.counted[-1].came
    most = film.cut.by - last.after if math.isfinite(last.after) else math.inf
    return film.cut.after - last.by, most


def _pause_of_last(film: FilmTimeline) -> int:
    """Return the pause of the row whose play the last frame ended; 0 where it ended none."""
    last = film.counted[-1]
    part = film.plan.parts[last.part]
    return part.pause if last.number == part.last else 0


# -- what comes before frame 1 ----------------------------------------------------------------------


def _black_first(films: Sequence[FilmTimeline], work_s: float | None) -> bool | None:
    """Return whether a black picture came before frame 1; None where films differ, or are too slow to show it.

    It stays while frame 1 is decoded and drawn.
    """
    seen = {film.black_s > 0 for film in films if film.black_s is not None}
    if seen == {True}:
        return True
    shows = work_s is not None and any(film.black_s == 0 and work_s > 1.5 * film.step_s for film in films)
    return False if seen == {False} and shows else None
