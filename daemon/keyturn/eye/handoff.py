"""How visibly the boot logo and frame 1 differ, pixel by pixel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.cielab import NOTICEABLE, lab
from keyturn.eye.luminance import WEIGHTS
from keyturn.shop.records import HandoffRecord

F32 = NDArray[np.float32]

GROUND_GREY = 40
MARK = np.array([255, 176, 64], np.float32)
"""The amber in which differences are drawn, sRGB."""

STRONG = 50.0
"""A CIE76 difference drawn at full strength: that between mid grey and black or white."""


def difference(distance: F32) -> HandoffRecord:
    """Return how far two pictures differ whose pixels have these distances (see `colour_distance`)."""
    return HandoffRecord(
        share_changed=float((distance > NOTICEABLE).mean()),
        mean_difference=float(distance.mean(dtype=np.float64)),
    )


def colour_distance(a: NDArray[np.uint8], b: NDArray[np.uint8]) -> F32:
    """Return the CIE76 difference of each pixel, (H, W), of two pictures (H, W, 3).

    Raise `ValueError` where their sizes differ.
    """
    if a.shape != b.shape:
        raise ValueError(f"pictures of shapes {a.shape} and {b.shape} cannot be compared")
    distance = np.zeros(a.shape[:2], np.float32)
    changed = (a != b).any(axis=-1)  # most pixels of a good hand-off are equal and need no Lab
    distance[changed] = np.sqrt(((lab(a[changed]) - lab(b[changed])) ** 2).sum(axis=-1))
    return distance


def difference_picture(a: NDArray[np.uint8], distance: F32) -> NDArray[np.uint8]:
    """Draw where another picture lies at these distances: `a` in dim grey, visible ones in amber."""
    strength = np.clip(distance, 0, STRONG) / np.float32(STRONG)
    strength = np.where(strength * STRONG > NOTICEABLE, 0.25 + 0.75 * strength, 0)[..., None]
    grey = GROUND_GREY + 0.25 * (a @ WEIGHTS)[..., None]
    picture: NDArray[np.uint8] = np.rint(grey * (1 - strength) + MARK * strength).astype(np.uint8)
    return picture
