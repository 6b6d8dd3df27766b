"""Where a sprite is at every frame: easing, even pace along a path, and what happens on the way. Pure arithmetic.

Lengths are panel pixels, x to the right, y down, from the panel's top left corner; pixel 0 covers 0 to 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.manifest.drawn_frames import Ease

F64 = NDArray[np.float64]
Point = tuple[float, float]

STEPS = 256
"""Chords a leg of a curve is measured in: a quarter turn comes out short by 2 parts in a million."""


@dataclass(frozen=True, slots=True)
class Track:
    """One sprite's way. `sizes` are heights in px, `turns` degrees clockwise, both first and last;
    `bob` is an amplitude in px and how often; `fade` the shares of one run in which it appears and vanishes."""

    points: tuple[Point, ...]
    bend: bool = False
    ease: Ease = "linear"
    sizes: tuple[float, float] = (1.0, 1.0)
    turns: tuple[float, float] = (0.0, 0.0)
    bob: tuple[float, float] = (0.0, 0.0)
    repeat: int = 1
    fade: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the middle of a sprite is, how high and how far turned it is, and how much of it is seen (0 to 1)."""

    x: float
    y: float
    height: float
    turn: float
    opacity: float


def poses(track: Track, frames: int) -> tuple[Pose, ...]:
    """The sprite at each of `frames` (two or more); the first frame is the start of the way, the last its end.

    Where the way is gone several times, the last of them alone is shown at its very end: the others meet
    the start of the next.
    """
    run = _runs(frames, track.repeat)
    gone = eased(run, track.ease)
    x, y = Way(track.points, bend=track.bend).at(gone).T
    amplitude, times = track.bob
    columns = (
        x,
        y - amplitude * np.sin(2 * np.pi * times * run),
        _between(track.sizes, gone),
        _between(track.turns, gone),
        opacity(run, track.fade),
    )
    return tuple(Pose(*values) for values in np.stack(columns, axis=1).tolist())


def _runs(frames: int, repeat: int) -> F64:
    """The share of its run at each frame. Whole numbers first, so that a run's start is exactly 0."""
    beats = np.arange(frames) * repeat
    run = (beats % (frames - 1)) / (frames - 1)
    run[-1] = 1.0
    return run


def _between(ends: tuple[float, float], share: F64) -> F64:
    return ends[0] * (1 - share) + ends[1] * share


def eased(t: F64, ease: Ease) -> F64:
    """The share of the way gone at the share `t` of the time.

    "in" is even acceleration from rest and "out" even braking to rest (s = a t^2 / 2, kinematics); "in-out"
    is 3 t^2 - 2 t^3, the cubic Hermite step (OpenGL Shading Language specification, 8.3, smoothstep).
    """
    if ease == "in":
        return t * t
    if ease == "out":
        return 1 - (1 - t) ** 2
    if ease == "in-out":
        return t * t * (3 - 2 * t)
    return t


def opacity(t: F64, fade: tuple[float, float]) -> F64:
    """1 but for a straight rise over the first `fade[0]` of the time and a fall over the last `fade[1]`."""
    seen = np.ones_like(t)
    for left, share in zip((t, 1 - t), fade, strict=True):
        if share > 1e-9:
            seen = np.minimum(seen, left / share)
    return np.clip(seen, 0.0, 1.0)


class Way:
    """A path that is gone at an even pace: by its length, not by its points.

    Straight legs are the rule, for they go where the points are and nowhere else. With `bend` a centripetal
    Catmull-Rom curve goes through the points (E. Catmull, R. Rom, 1974; knots by the square root of the
    distance, which alone makes neither cusp nor loop within a leg: C. Yuksel and others, 2011). At its ends
    the curve goes as though the next point lay as far beyond.
    """

    def __init__(self, points: Sequence[Point], *, bend: bool = False) -> None:
        self._points = _without_doubles(np.asarray(points, np.float64))
        legs = len(self._points) - 1
        self._curve = _hermite(self._points) if bend and legs > 1 else None
        steps = STEPS if self._curve is not None else 1
        self._knots = np.linspace(0, legs, legs * steps + 1) if legs else np.zeros(1)
        chords = np.hypot(*np.diff(self._placed(self._knots), axis=0).T)
        self._gone = np.concatenate([[0.0], np.cumsum(chords)])

    @property
    def length(self) -> float:
        return float(self._gone[-1])

    def at(self, share: F64) -> F64:
        """Points (n, 2) at the shares 0 to 1 of the length."""
        return self._placed(np.interp(share * self.length, self._gone, self._knots))

    def _placed(self, knots: F64) -> F64:
        """Points at leg numbers with fractions: 1.5 is the middle, by parameter, of the second leg."""
        points = self._points
        if len(points) == 1:
            return points.repeat(len(knots), axis=0)
        leg = np.minimum(knots.astype(np.intp), len(points) - 2)
        u = (knots - leg)[:, None]
        if self._curve is None:
            straight: F64 = points[leg] * (1 - u) + points[leg + 1] * u
            return straight
        leaving, arriving = self._curve[0][leg], self._curve[1][leg]
        placed: F64 = (
            (2 * u**3 - 3 * u**2 + 1) * points[leg]
            + (u**3 - 2 * u**2 + u) * leaving
            + (3 * u**2 - 2 * u**3) * points[leg + 1]
            + (u**3 - u**2) * arriving
        )
        return placed


def _without_doubles(points: F64) -> F64:
    """A point given twice in a row is one: between the two there is no way to go."""
    moved = np.hypot(*np.diff(points, axis=0).T) > 1e-9
    kept: F64 = points[np.concatenate([[True], moved])]
    return kept


def _hermite(points: F64) -> tuple[F64, F64]:
    """The curve's directions where each leg starts and ends, for a leg's parameter from 0 to 1."""
    whole = np.concatenate([[2 * points[0] - points[1]], points, [2 * points[-1] - points[-2]]])
    gaps = np.hypot(*np.diff(whole, axis=0).T)[:, None] ** 0.5
    slopes = np.diff(whole, axis=0) / gaps
    before, here, after = gaps[:-2], gaps[1:-1], gaps[2:]
    across_start = (whole[2:-1] - whole[:-3]) / (before + here)
    across_end = (whole[3:] - whole[1:-2]) / (here + after)
    leaving = here * (slopes[:-2] - across_start + slopes[1:-1])
    arriving = here * (slopes[1:-1] - across_end + slopes[2:])
    return leaving, arriving
