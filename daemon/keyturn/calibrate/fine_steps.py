"""Whether a screen shows colours of 16 bits, by the strip of fine steps on a stick's pictures.

Two greys of the strip are one colour in RGB565, two others are not. Both steps are some levels of 255 at most, and a
film's packing hides them in single frames; over all frames of a film they stand out or do not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from keyturn.calibrate import homography, sampling
from keyturn.calibrate.code_layout import STRIP_STEPS, CodeLayout

F64 = NDArray[np.float64]

FEWEST = 20
"""Frames below which the strip tells nothing."""

THIRDS = 3
"""Into so many stretches of time a film is cut for the strip."""

SEEN, MOST = 1.5, 10.0
"""Levels of 255 that the coarse step must have in the film to be compared with; more than the other, and the edge of a
reflection lies on it."""

GONE, THERE = 0.25, 0.55
"""Shares of the coarse step: below the one the fine step is gone (16 bits), above the other it is there. On a screen of
24 bits it is 0.8 of it (4.6 of 5.7 levels of grey, by ITU-R BT.601's weights)."""

_GROUP = 4
"""Fields that are compared: two of grey A around two of another, or the other way round, so that a slope of the light
across them cancels out."""


class StepSums:
    """Adds up the light of the strip's fields over the frames of a film."""

    def __init__(self, layout: CodeLayout) -> None:
        left, top, right, foot = layout.strip.T
        x = left[:, None] + (right - left)[:, None] * np.linspace(0.2, 0.8, 5)
        y = top[:, None] + (foot - top)[:, None] * np.linspace(0.3, 0.7, 3)
        shape = (len(left), 3, 5)
        grid = [np.broadcast_to(x[:, None, :], shape), np.broadcast_to(y[:, :, None], shape)]
        self._points = np.stack(grid, axis=-1).reshape(-1, 2)
        self._fields: list[F64] = []

    def add(self, grey: NDArray[np.uint8], screen: F64) -> None:
        light = sampling.light(grey, homography.through(screen, self._points))
        self._fields.append(light.reshape(len(STRIP_STEPS), -1).mean(axis=1).astype(np.float64))

    def sixteen_bits(self) -> bool | None:
        """Return whether the screen shows 16 bits; None where the film does not tell.

        Each third of the film must tell it, and the same: a reflection that moves over the strip looks like steps.
        """
        if len(self._fields) < FEWEST:
            return None
        told = {_told(part) for part in np.array_split(np.array(self._fields), THIRDS)}
        return told.pop() if len(told) == 1 else None


def _told(fields: F64) -> bool | None:
    """Return whether these frames show 16 bits. They tell where the coarse step is seen in both groups that have it,
    and the two groups of the fine step agree."""
    light, mean = np.median(fields, axis=0), fields.mean(axis=0)
    fine, coarse = _steps(mean, "F"), _steps(mean, "S")
    if not SEEN <= coarse.min() <= coarse.max() <= MOST or np.ptp(coarse) > 0.5 * coarse.mean() or light.max() > 250:
        return None
    share = fine / coarse.mean()
    if (share < GONE).all() and (share > -GONE).all():
        return True
    return False if (share > THERE).all() else None


def _steps(light: F64, step: str) -> F64:
    """Return by how much the fields of `step` are brighter than those of A in each of their groups."""
    found = []
    for start in range(0, len(STRIP_STEPS), _GROUP):
        names, fields = STRIP_STEPS[start : start + _GROUP], light[start : start + _GROUP]
        if step in names:
            other = np.array([name == step for name in names])
            found.append(fields[other].mean() - fields[~other].mean())
    return np.array(found)
