"""How much changes from frame to frame, and frames that stand still or jump amid motion."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.luminance import FULL, WEIGHTS

AROUND = 3
"""A change is compared with the median of this many changes before it and as many after it."""

STILL = 0.1
"""A change under this share of its neighbours' median is a standstill: a doubled frame changes by nothing but noise."""

JUMP = 1.8
"""A change above this multiple of its neighbours' is a jump: a missing frame makes one change of about two steps."""


LEAST_JUMP = 0.002
"""A change under this (mean change of relative luminance) is never a jump. Keyturn's own choice."""


@dataclass(frozen=True, slots=True)
class Stumbles:
    """Frames out of step: `doubled` repeat the frame before amid motion, `jumps` follow a missing frame.

    Numbers are those of the later frame of each pair, counted from 0.
    """

    doubled: tuple[int, ...]
    jumps: tuple[int, ...]


def change(a: NDArray[np.uint16], b: NDArray[np.uint16]) -> float:
    """Return the mean absolute change of linear light from cells `a` to `b` (see `luminance.cells`), 0 to 1.

    The channels are weighted as in relative luminance, but each by itself, so that a change of hue alone counts too.
    """
    apart = np.maximum(a, b) - np.minimum(a, b)
    rows, columns, _ = a.shape
    # Row is added to row: numpy takes ten times longer over three channels side by side.
    sums = apart.reshape(rows, -1).sum(axis=0, dtype=np.uint64).reshape(columns, 3).sum(axis=0)
    return float(sums / (rows * columns) / FULL @ WEIGHTS.astype(np.float64))


def stumbles(changes: Sequence[float], steps: Sequence[int] = ()) -> Stumbles:
    """Find frames out of step; `changes` are from each frame to the next (see `change`).

    The motion must go on at both sides, without another standstill near. So easing in or out, cuts between held
    pictures, and drawings held for two frames each (common practice in animation, no source) are no stumbles. `steps`
    say how far each frame is from the one before, where some were left out: a jump must then stand out for each frame
    that it passes over as well.
    """
    found = _stumbles(changes)
    if all(step == 1 for step in steps):
        return found
    even = _stumbles([moved / step for moved, step in zip(changes, steps, strict=True)])
    return Stumbles(found.doubled, tuple(frame for frame in found.jumps if frame in even.jumps))


def _stumbles(values: Sequence[float]) -> Stumbles:
    doubled, jumps = [], []
    for i in range(1, len(values) - 1):
        around = [*values[max(0, i - AROUND) : i], *values[i + 1 : i + 1 + AROUND]]
        usual = median(around)
        if usual == 0 or min(around) < STILL * usual or min(values[i - 1], values[i + 1]) < usual / 2:
            continue
        if values[i] < STILL * usual:
            doubled.append(i + 1)
        elif values[i] > max(LEAST_JUMP, JUMP * max(usual, values[i - 1], values[i + 1])):
            jumps.append(i + 1)
    return Stumbles(tuple(doubled), tuple(jumps))


def join_jump(before: Sequence[float], change: float, after: Sequence[float]) -> float | None:
    """Return how many times larger the `change` from one part to the next is than the motion around it.

    `before` and `after` are the changes from frame to frame in the two parts; standstills do not count. Return None
    where the change does not stand out, or where nothing moves: still after still is no motion that could jump.
    """
    moving = [c for c in before if c > 0][-AROUND:] + [c for c in after if c > 0][:AROUND]
    usual = max(moving, default=0.0)
    return change / usual if usual and change > max(LEAST_JUMP, JUMP * usual) else None
