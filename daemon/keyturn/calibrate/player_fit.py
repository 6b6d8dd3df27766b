"""Which player shows a stick as it was filmed: the times that were measured against every kind of player.

A kind is a pacing, what a pause is counted in, and whether later plays decode again. For each, the costs of drawing and
of decoding a plain and a detailed frame are found that explain the times best (weighted least squares; the times are
linear in the costs on either side of the beat, so Gauss and Newton's steps from a few starts find them). Kinds that
explain every time within `WITHIN` errors stay: a fact is known where all of them agree on it.

How a frame is timed: `radio.player_loop`, after Android Open Source Project, frameworks/base, cmds/bootanimation.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from keyturn.calibrate.film_stretches import Time

WITHIN = 3.0
"""A kind of player explains a time that lies within so many standard errors. Common practice, no source."""

SLACK_S = 0.0008
"""No player keeps its times closer than this: its sleeps end late by fractions of a millisecond (common practice, no
source), and a film's clock is off by up to 0.1 % (the same)."""

SLACK_SHARE = 0.001
DEAREST_S = 1.0
"""Most seconds that drawing or decoding a frame may take: the most that a radio's profile may state."""

DRAW_MOST_S = 0.05
"""Drawing a picture that is there takes less than this, in seconds: a home screen drawn so slowly could not be used.
Keyturn's own choice."""

STEPS = 8
"""Newton's steps from one start. The times are piecewise linear in the costs, so three are usual."""

Paces = Literal["additive", "fixed-beat"]
PauseUnit = Literal["frames", "seconds", "none"]
Decodes = Literal["first-play", "every-play"]
Floats = NDArray[np.float64]
Misses = Callable[[Floats], Floats]
"""From the costs (drawing, decoding a plain frame, how much more a detailed one takes) to each miss in errors."""


@dataclass(frozen=True, slots=True)
class PlayerKind:
    """A kind of player. `pause_unit` is "none" where it leaves out pauses."""

    pacing: Paces
    pause_unit: PauseUnit
    decodes: Decodes


KINDS = tuple(
    PlayerKind(pacing, unit, decodes)
    for pacing in get_args(Paces)
    for unit in get_args(PauseUnit)
    for decodes in get_args(Decodes)
)


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds of work and their standard error."""

    seconds: float
    error: float


@dataclass(frozen=True, slots=True)
class PlayerFit:
    """A kind of player with the costs that explain the times best. A cost is None where the times do not tell it.

    `misfit` is the sum of the squared misses in standard errors, and `worst` the largest miss.
    """

    kind: PlayerKind
    draw: Cost | None
    plain: Cost | None
    detailed: Cost | None
    misfit: float
    worst: float


def fits(times: Sequence[Time]) -> tuple[PlayerFit, ...]:
    """Return every kind of player that explains the times, the best first; nothing where none does."""
    found = sorted((_fit(kind, times) for kind in KINDS), key=lambda fit: fit.misfit)
    good = [fit for fit in found if fit.worst <= WITHIN]
    return tuple(fit for fit in good if fit.misfit <= good[0].misfit + WITHIN**2)


def predicted(kind: PlayerKind, time: Time, draw_s: float, plain_s: float, detailed_s: float) -> float:
    """Return the seconds that a time takes on this kind of player with these costs."""
    work = {"plain": draw_s + plain_s, "detailed": draw_s + detailed_s}
    work["again"] = work["detailed"] if kind.decodes == "every-play" else draw_s
    beat, cost = 1 / time.fps, work[time.work]
    held = beat + cost if kind.pacing == "additive" else max(beat, cost)
    if time.after is None:
        return held
    return held + _pause_s(kind, time) + work[time.after] - cost


def _pause_s(kind: PlayerKind, time: Time) -> float:
    return time.pause * {"frames": 1 / time.fps, "seconds": 1.0, "none": 0.0}[kind.pause_unit]


def _fit(kind: PlayerKind, times: Sequence[Time]) -> PlayerFit:
    errors = np.array([error_of(time) for time in times])

    def misses(costs: Floats) -> Floats:
        draw, plain, more = costs
        seen = [time.seconds - predicted(kind, time, draw, plain, plain + more) for time in times]
        return np.asarray(seen / errors, float)

    found = [_solved(misses, start) for start in _starts(times)]
    best = min(found, key=lambda costs: float(misses(costs) @ misses(costs)))
    rest = misses(best)
    lower = np.maximum(best - 2 * errors.min() * np.array([1.0, 1.0, 0.0]), 0.0)
    draw, plain, detailed = _costs(best, _slopes(misses, lower))  # what is told only just above the beat is not told
    return PlayerFit(kind, draw, plain, detailed, float(rest @ rest), float(np.abs(rest).max(initial=0.0)))


def error_of(time: Time) -> float:
    """Return the standard error of a time, with what no player and no film keeps."""
    slack = SLACK_S / 2 if time.after is None else SLACK_S * 4
    return float(np.hypot(time.error, slack + SLACK_SHARE * time.seconds))


_TOP = np.array([DRAW_MOST_S, DEAREST_S, DEAREST_S])
_NUDGE = 1e-7


def _starts(times: Sequence[Time]) -> list[Floats]:
    """Return where to look for the costs from: on both sides of every beat."""
    beats = sorted({1 / time.fps for time in times})
    plain = [0.004, *(beat * 1.2 for beat in beats)]
    more = [0.002, *(beat * 0.7 for beat in beats), *(beat * 1.2 for beat in beats)]
    return [np.array([0.004, p, m]) for p, m in itertools.product(plain, more)]


def _solved(misses: Misses, start: Floats) -> Floats:
    costs = start
    for _ in range(STEPS):
        before, costs = costs, _stepped(_slopes(misses, costs), misses(costs), costs)
        if np.allclose(before, costs, rtol=0, atol=_NUDGE):
            break
    return costs


def _stepped(slopes: Floats, at: Floats, costs: Floats) -> Floats:
    """Return the costs after one step of Gauss and Newton's. One that would leave its range stays at the range's end,
    and the others are found anew."""
    free = np.full(3, True)
    moved = costs
    for _ in range(3):
        step = np.linalg.lstsq(slopes[:, free], at + slopes @ (moved - costs), rcond=1e-6)[0]
        wanted = moved.copy()
        wanted[free] = costs[free] - step
        inside = np.clip(wanted, 0.0, _TOP)
        moved, out = inside, free & (inside != wanted)
        if not out.any():
            break
        free = free & ~out
        moved[free] = costs[free]
    return moved


def _slopes(misses: Misses, costs: Floats) -> Floats:
    """Return how each miss changes with each cost."""
    at = misses(costs)
    sides = [misses(costs + _NUDGE * np.eye(3)[i]) for i in range(3)]
    return np.column_stack([(side - at) / _NUDGE for side in sides])


_OF_THE_COSTS = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 1.0, 1.0]])
"""Drawing, decoding a plain frame and decoding a detailed one, of the costs that are looked for."""


def _costs(best: Floats, slopes: Floats) -> tuple[Cost | None, Cost | None, Cost | None]:
    """Return the costs that the times tell, with their errors: those on which a change of the times depends."""
    spread = np.linalg.pinv(slopes.T @ slopes, rcond=1e-9)
    told = np.linalg.pinv(slopes, rcond=1e-6) @ slopes
    draw, plain, detailed = (
        Cost(float(of @ best), float(np.sqrt(of @ spread @ of))) if np.allclose(told @ of, of, atol=0.01) else None
        for of in _OF_THE_COSTS
    )
    return draw, plain, detailed
