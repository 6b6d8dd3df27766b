"""Which lines of two pictures differ, found quickly where most do and where most do not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

U8 = NDArray[np.uint8]

_FEW = 97
"""Every so many samples of a line are compared first: of grain, where that tells all, it takes 0.1 ms."""


def differ(lines: U8, others: U8) -> NDArray[np.bool_]:
    """Return for each of the lines (H, N) whether it differs from that of the others."""
    found: NDArray[np.bool_] = (lines[:, ::_FEW] != others[:, ::_FEW]).any(axis=1)
    alike = np.flatnonzero(~found)
    if 2 * len(alike) > len(found):
        found = (lines != others).any(axis=1)  # quicker than copies of most lines
    else:
        found[alike] = (lines[alike] != others[alike]).any(axis=1)
    return found
