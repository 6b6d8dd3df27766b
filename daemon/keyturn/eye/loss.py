"""How much a lossy file changed a picture, to an eye in the car."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import handoff, luminance

CELL_PX = 4
"""Side of the squares whose mean light is compared: on these panels, from the driver's seat, about four minutes
of arc. Grain finer than that is there before and after; what its grains are worth one by one, nobody sees.
"""


def lost(before: NDArray[np.uint8], after: NDArray[np.uint8]) -> float:
    """The largest CIE76 difference between the mean light of any square of two pictures (H, W, 3) of one size.

    Light is averaged before it becomes CIELAB, as it is in the eye. Below `handoff.NOTICEABLE` no square can be
    told from what it was. Raises ValueError where the sizes differ.
    """
    if before.shape != after.shape:
        raise ValueError(f"pictures of shapes {before.shape} and {after.shape} cannot be compared")
    one, other = (handoff.lab_of(_light(pixels)) for pixels in (before, after))
    return float(np.sqrt(((one - other) ** 2).sum(axis=-1)).max())


def _light(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    return luminance.cells(pixels, CELL_PX).astype(np.float32) / np.float32(luminance.FULL)
