"""Read the code on a film frame, once it is known where the screen is.

Each bit was drawn as a bright and a dark cell in each of four copies. The difference of the two, in shares of the usual
difference in its copy, is how far the bit is seen there: 1 or -1 where it is clear, near 0 under glare, behind a hand,
in a dark band, and where two frames are blended. A code counts where its check fits, every bit of it is seen, and
nothing that is seen contradicts it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.calibrate import film_code, homography, sampling
from keyturn.calibrate.code_layout import COPIES, CodeLayout
from keyturn.calibrate.film_code import BITS, Code

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

FAINT = 8.0
"""Difference of bright and dark, in levels of 255, below which a bit is at most partly seen."""

CLEAR = 0.5
"""Sum over the copies from which a bit is seen well: half of one clear copy."""

_SETS = ((0, 1, 2, 3), (0, 1), (2, 3), (0, 2), (1, 3), (0,), (1,), (2,), (3,))
"""Copies that are read together, in the order they are tried. A rolling shutter may take the upper two from one frame
and the lower two from the next."""


@dataclass(frozen=True, slots=True)
class CodeRead:
    """A code that was read, how sure it is (0 to 1), and the light of bright and dark cells, in levels of 255."""

    code: Code
    confidence: float
    bright: float
    dark: float


class CodeReader:
    """Reads codes laid out on a panel."""

    def __init__(self, layout: CodeLayout) -> None:
        self._layout = layout
        inside = np.linspace(0.2, 0.8, 4)
        left, top, right, foot = np.moveaxis(layout.cells, -1, 0)
        x = left[..., None] + (right - left)[..., None] * inside
        y = top[..., None] + (foot - top)[..., None] * inside
        shape = (*left.shape, 4, 4)
        grid = np.stack([np.broadcast_to(x[..., None, :], shape), np.broadcast_to(y[..., :, None], shape)], axis=-1)
        self._points = grid.reshape(-1, 2)
        self._middles = grid.mean(axis=(-3, -2)).reshape(-1, 2)
        self._signs = np.where(layout.first_bright(np.ones(BITS, bool)), 1, -1).astype(np.float32)

    def read(self, grey: NDArray[np.uint8], screen: F64) -> CodeRead | None:
        """Return the code; None where none is seen for sure. `screen` takes the panel's px to those of the film."""
        seen = sampling.light(grey, homography.through(screen, self._points)).reshape(COPIES, BITS, 2, -1).mean(axis=-1)
        bits = self.bits_seen(seen)
        return next((read for copies in _SETS if (read := _read(bits, copies, seen))), None)

    def clearness(self, grey: NDArray[np.uint8], screens: F64) -> F32:
        """(k, 40): the bits at the middles of the cells for each of `screens` (k, 3, 3), summed over the copies."""
        seen = sampling.light(grey, homography.through(screens, self._middles))
        return np.asarray(self.bits_seen(seen.reshape(len(screens), COPIES, BITS, 2)).sum(axis=-2), np.float32)

    def bits_seen(self, seen: F32) -> F32:
        """(..., COPIES, BITS): how far each bit is seen, -1 to 1, from the light of both its cells (..., 2)."""
        difference = (seen[..., 0] - seen[..., 1]) * self._signs
        usual = np.quantile(np.abs(difference), 0.75, axis=-1, keepdims=True)
        usual = np.maximum(np.maximum(usual, 0.25 * usual.max(axis=-2, keepdims=True)), FAINT)
        return np.asarray(np.clip(difference / usual, -1, 1), np.float32)


def _read(bits: F32, copies: tuple[int, ...], seen: F32) -> CodeRead | None:
    """Return what these copies state together."""
    used = bits[list(copies)]
    summed = used.sum(axis=0)
    code = film_code.code(summed > 0)
    if code is None:
        return None
    agree = float(np.abs(summed).sum() / np.abs(used).sum())
    weakest = float(np.abs(summed).min())
    cells = np.sort(seen[list(copies)].reshape(-1, 2), axis=1)
    dark, bright = np.median(cells, axis=0)
    return CodeRead(code, agree * min(1.0, weakest / CLEAR), float(bright), float(dark))
