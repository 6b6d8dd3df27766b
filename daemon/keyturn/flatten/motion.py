"""Where a sprite is in every frame, how large, how far turned and how opaque. Pure arithmetic.

Lengths are panel pixels, x to the right, y down, from the panel's top left corner; pixel 0 covers 0 to 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.manifest.drawn_frames import Ease

F64 = NDArray[np.float64]
Point = tuple[float, float]

MIDDLE = (0.5, 0.5)

STEPS = 256
"""Each leg of a curve is measured by this many chords: a quarter circle comes out short by 2 parts in a million."""


@dataclass(frozen=True, slots=True)
class SpriteMotion:
    """How one sprite moves along `points`, in panel pixels.

    `bend` makes the path a curve. `sizes` are the first and last height in pixels. `turns` are two or more angles in
    degrees clockwise, at even intervals of time. `pivot` is the point of the sprite that is on the path and that it
    turns about, in shares of its width and height. `bob` is an up-and-down movement: its amplitude in pixels and how
    often it happens in one run. `repeat` is how many runs there are, `fade` the shares of one run (0 to 1) in which the
    sprite appears and vanishes.
    """

    points: tuple[Point, ...]
    bend: bool = False
    ease: Ease = "linear"
    sizes: tuple[float, float] = (1.0, 1.0)
    turns: tuple[float, ...] = (0.0, 0.0)
    pivot: Point = MIDDLE
    bob: tuple[float, float] = (0.0, 0.0)
    repeat: int = 1
    fade: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Pose:
    """A sprite in one frame.

    `x` and `y` are where its pivot is and `height` is how high it is, in pixels. `turn` is in degrees clockwise,
    `opacity` from 0 to 1, `pivot` in shares of its width and height.
    """

    x: float
    y: float
    height: float
    turn: float
    opacity: float
    pivot: Point = MIDDLE

    def middle(self, width: float) -> Point:
        """Return where the middle of the sprite is, which is `width` pixels wide before it is turned."""
        across, down = (0.5 - self.pivot[0]) * width, (0.5 - self.pivot[1]) * self.height
        cos, sin = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
        return self.x + across * cos - down * sin, self.y + across * sin + down * cos


def poses(motion: SpriteMotion, frames: int) -> tuple[Pose, ...]:
    """Return the sprite in each of `frames` (two or more): the first shows the path's start, the last its end.

    Where there are several runs, only the last shows the path's end: the others are followed by the start of the next.
    """
    run = _runs(frames, motion.repeat)
    share = eased(run, motion.ease)
    x, y = SpritePath(motion.points, bend=motion.bend).at(share).T
    amplitude, times = motion.bob
    columns = (
        x,
        y - amplitude * np.sin(2 * np.pi * times * run),
        _between(motion.sizes, share),
        _keyframed(motion.turns, run, motion.ease),
        opacity(run, motion.fade),
    )
    return tuple(
        Pose(across, down, height, turn, seen, motion.pivot)
        for across, down, height, turn, seen in np.stack(columns, axis=1).tolist()
    )


def _runs(frames: int, repeat: int) -> F64:
    """Return the share of its run at each frame. Whole numbers are divided last, so that a run starts at exactly 0."""
    beats = np.arange(frames) * repeat
    run = (beats % (frames - 1)) / (frames - 1)
    run[-1] = 1.0
    return run


def _between(ends: tuple[float, float], share: F64) -> F64:
    return ends[0] * (1 - share) + ends[1] * share


def _keyframed(values: tuple[float, ...], t: F64, ease: Ease) -> F64:
    """Return the value at the share `t` of the time. Each leg from one value to the next is eased by itself."""
    legs = len(values) - 1
    leg = np.minimum((t * legs).astype(np.intp), legs - 1)
    gone = eased(t * legs - leg, ease)
    keys = np.asarray(values, np.float64)
    at: F64 = keys[leg] * (1 - gone) + keys[leg + 1] * gone
    return at


def eased(t: F64, ease: Ease) -> F64:
    """Return the share of the path that is done at the share `t` of the time.

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
    """Return the opacity at the share `t` of the time.

    It rises evenly from 0 to 1 in the first `fade[0]`, falls evenly in the last `fade[1]`, and is 1 between.
    """
    seen = np.ones_like(t)
    for left, share in zip((t, 1 - t), fade, strict=True):
        if share > 1e-9:
            seen = np.minimum(seen, left / share)
    return np.clip(seen, 0.0, 1.0)


class SpritePath:
    """A path along which a sprite moves at an even speed: places on it are given by shares of its length.

    Between the points it is straight. With `bend` it is a centripetal Catmull-Rom curve through the points (E. Catmull,
    R. Rom, 1974). Its knots are spaced by the square root of the distance; only this spacing makes neither cusps nor
    loops within a leg (C. Yuksel and others, 2011). Beyond each end one more point is assumed, straight on by the
    length of the last leg.
    """

    def __init__(self, points: Sequence[Point], *, bend: bool = False) -> None:
        self._points = _without_doubles(np.asarray(points, np.float64))
        legs = len(self._points) - 1
        self._curve = _hermite(self._points) if bend and legs > 1 else None
        steps = STEPS if self._curve is not None else 1
        self._knots = np.linspace(0, legs, legs * steps + 1) if legs else np.zeros(1)
        chords = np.hypot(*np.diff(self._placed(self._knots), axis=0).T)
        self._lengths = np.concatenate([[0.0], np.cumsum(chords)])

    @property
    def length(self) -> float:
        return float(self._lengths[-1])

    def at(self, share: F64) -> F64:
        """Return the points (n, 2) at the shares (0 to 1) of the length."""
        return self._placed(np.interp(share * self.length, self._lengths, self._knots))

    def _placed(self, knots: F64) -> F64:
        """Return the points at leg numbers with fractions: 1.5 is the middle, by parameter, of the second leg."""
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
    """Return the points with repeated ones in a row taken once: a leg of length 0 has no direction."""
    moved = np.hypot(*np.diff(points, axis=0).T) > 1e-9
    kept: F64 = points[np.concatenate([[True], moved])]
    return kept


def _hermite(points: F64) -> tuple[F64, F64]:
    """Return the curve's derivatives where each leg starts and where it ends, for a leg's parameter from 0 to 1."""
    whole = np.concatenate([[2 * points[0] - points[1]], points, [2 * points[-1] - points[-2]]])
    gaps = np.hypot(*np.diff(whole, axis=0).T)[:, None] ** 0.5
    slopes = np.diff(whole, axis=0) / gaps
    before, here, after = gaps[:-2], gaps[1:-1], gaps[2:]
    across_start = (whole[2:-1] - whole[:-3]) / (before + here)
    across_end = (whole[3:] - whole[1:-2]) / (here + after)
    leaving = here * (slopes[:-2] - across_start + slopes[1:-1])
    arriving = here * (slopes[1:-1] - across_end + slopes[2:])
    return leaving, arriving
