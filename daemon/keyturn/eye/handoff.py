"""How far two pictures differ to an eye, and frames that stand still or jump amid motion.

Colour difference is CIE76, the distance in CIELAB (CIE 015: L*a*b* with its 1976 difference), chosen over
CIEDE2000 because its just noticeable difference is known by experiment and it costs a tenth of the time.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.luminance import FULL, TO_XYZ, WEIGHTS, linear

F32 = NDArray[np.float32]

NOTICEABLE = 2.3
"""The just noticeable CIE76 difference (Mahy, Van Eycken and Oosterlinck 1994; from memory)."""

D65 = np.array([0.95047, 1.0, 1.08883], np.float32)
"""White point of sRGB, XYZ of Y = 1 (IEC 61966-2-1)."""


def lab(rgb: NDArray[np.uint8]) -> F32:
    """sRGB codes (..., 3) to CIELAB, D65 (..., 3): L* 0 to 100, a* and b* about -128 to 127."""
    return lab_of(linear(rgb))


def lab_of(light: F32) -> F32:
    """Linear sRGB (..., 3), 0 to 1, to CIELAB."""
    xyz = light @ (TO_XYZ / D65[:, None]).T
    cubed = np.cbrt(xyz)
    f = np.where(xyz > np.float32(216 / 24389), cubed, xyz * np.float32(841 / 108) + np.float32(4 / 29))
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Difference:
    """`share_changed` of the pixels differ visibly; `mean_difference` is over all pixels, in CIE76 units."""

    share_changed: float
    mean_difference: float
    mask: NDArray[np.bool_]


def difference(a: NDArray[np.uint8], b: NDArray[np.uint8]) -> Difference:
    """Compares two pictures (H, W, 3) of one size. Raises ValueError where the sizes differ."""
    distance = _distance(a, b)
    mask = distance > NOTICEABLE
    return Difference(float(mask.mean()), float(distance.mean(dtype=np.float64)), mask)


def _distance(a: NDArray[np.uint8], b: NDArray[np.uint8]) -> F32:
    if a.shape != b.shape:
        raise ValueError(f"pictures of shapes {a.shape} and {b.shape} cannot be compared")
    distance = np.zeros(a.shape[:2], np.float32)
    changed = (a != b).any(axis=-1)  # most pixels of a good hand-off are equal and need no Lab
    distance[changed] = np.sqrt(((lab(a[changed]) - lab(b[changed])) ** 2).sum(axis=-1))
    return distance


GROUND_GREY = 40
MARK = np.array([255, 176, 64], np.float32)
STRONG = 50.0
"""A CIE76 difference drawn at full strength: that between mid grey and black or white."""


def difference_picture(a: NDArray[np.uint8], b: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Where the pictures differ: `a` in dim grey, visible differences in amber, stronger where larger."""
    strength = np.clip(_distance(a, b), 0, STRONG) / np.float32(STRONG)
    strength = np.where(strength * STRONG > NOTICEABLE, 0.25 + 0.75 * strength, 0)[..., None]
    grey = GROUND_GREY + 0.25 * (a @ WEIGHTS)[..., None]
    picture: NDArray[np.uint8] = np.rint(grey * (1 - strength) + MARK * strength).astype(np.uint8)
    return picture


def change(a: NDArray[np.uint16], b: NDArray[np.uint16]) -> float:
    """Mean absolute change of linear light from cells `a` to `b` (`luminance.cells`), 0 to 1, the channels
    weighted as in relative luminance, so that a change of hue alone is motion too.
    """
    moved = np.abs(a.astype(np.int32) - b).mean(axis=(0, 1)) / FULL
    return float(moved @ WEIGHTS.astype(np.float64))


def frame_changes(frames: Sequence[NDArray[np.uint16]]) -> tuple[float, ...]:
    """The change from each frame to the next: one figure fewer than frames."""
    return tuple(change(a, b) for a, b in itertools.pairwise(frames))


@dataclass(frozen=True, slots=True)
class Stumbles:
    """Frames out of step: `doubled` repeat the frame before amid motion, `jumps` follow a missing frame.

    Numbers are those of the later frame of each pair, counted from 0.
    """

    doubled: tuple[int, ...]
    jumps: tuple[int, ...]


AROUND = 3
STILL = 0.1
JUMP = 1.8


def stumbles(changes: Sequence[float]) -> Stumbles:
    """Finds stumbles in `frame_changes` by comparing each change with the median of three on either side.

    In even motion neighbours change alike. A doubled frame changes under a tenth of that; a missing one makes
    a single change of about two steps, told from 1.8. The motion must go on at both sides, without another
    standstill near: easing in or out, cuts between held pictures and drawings held for two frames each
    (common practice in animation, no source) are no stumbles.
    """
    values = np.asarray(changes, np.float64)
    doubled, jumps = [], []
    for i in range(1, len(values) - 1):
        around = np.concatenate([values[max(0, i - AROUND) : i], values[i + 1 : i + 1 + AROUND]])
        usual = float(np.median(around))
        if usual == 0 or around.min() < STILL * usual or min(values[i - 1], values[i + 1]) < usual / 2:
            continue
        if values[i] < STILL * usual:
            doubled.append(i + 1)
        elif values[i] > JUMP * max(usual, values[i - 1], values[i + 1]):
            jumps.append(i + 1)
    return Stumbles(tuple(doubled), tuple(jumps))
