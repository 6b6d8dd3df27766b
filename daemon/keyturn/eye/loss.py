"""How visibly a lossy file changed a picture, seen from the driver's seat."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import luminance
from keyturn.eye.cielab import lab_of

CELL_PX = 4
"""Side of the squares whose mean light is compared, in pixels: about four minutes of arc on these panels, from the
driver's seat. Nobody sees what becomes of a single grain of a pattern finer than that.
"""


def lost(before: NDArray[np.uint8], after: NDArray[np.uint8]) -> float:
    """Return the largest CIE76 difference between the mean light of any square of two pictures (H, W, 3).

    Light is averaged before it becomes CIELAB, as it is in the eye. Below `cielab.NOTICEABLE` no square can be told
    from what it was. Raise `ValueError` where the sizes differ.
    """
    if before.shape != after.shape:
        raise ValueError(f"pictures of shapes {before.shape} and {after.shape} cannot be compared")
    one, other = (lab_of(_light(pixels)) for pixels in (before, after))
    return float(np.sqrt(((one - other) ** 2).sum(axis=-1)).max())


def _light(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return the mean linear light, 0 to 1, of each square."""
    return luminance.cells(pixels, CELL_PX).astype(np.float32) / np.float32(luminance.FULL)
