"""Where a stick's pictures have their finder marks and the cells of their code, in pixels of the panel.

Six marks stand at the corners and half-way up the sides: glare over a fifth of the glass leaves at least four. The code
stands four times, left and right at the top and at the foot. Each bit is a pair of cells beside each other, one bright
and one dark; which comes first is the bit. So no level of brightness has to be known: glare, a hand, a dark band of a
flickering backlight and the blend of two pictures make the two alike, and the bit counts as not seen. Both cells of a
pair lie in the same rows, which a rolling shutter takes at the same moment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from keyturn.calibrate.film_code import BITS

F64 = NDArray[np.float64]

MODULES = 5
"""A mark is so many modules wide: a bright ring, a dark ring, a bright core."""

QUIET = 1
"""Dark modules around a mark."""

COPIES = 4
BAND = (0.02, 0.262)
"""The code at the top, in shares of the height. The one at the foot mirrors it."""

STRIP = (0.697, 0.721)
"""The strip that shows 16-bit colour, in shares of the height."""

STRIP_STEPS = "AFFAASSA" * 2
"""Its fields from left to right: A is the first grey, F a fine step above it, S a step that 16 bits show as well."""

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""


@dataclass(frozen=True)
class CodeLayout:
    """The layout on a panel of `size` px."""

    size: tuple[int, int]

    @property
    def mark_px(self) -> float:
        """The side of a mark: a tenth of the height, on narrow panels an eighth of the width."""
        width, height = self.size
        return min(0.1 * height, 0.125 * width)

    @property
    def module_px(self) -> float:
        return self.mark_px / MODULES

    @cached_property
    def marks(self) -> F64:
        """(6, 2): the middles of the marks, x and y: left and right at the top, half-way and at the foot."""
        width, height = self.size
        across = self._margin + self.mark_px / 2
        down = max(BAND[0] * height + self.mark_px / 2, across / 2)
        return np.array([(x, y) for y in (down, height / 2, height - down) for x in (across, width - across)])

    @property
    def _margin(self) -> float:
        return 0.01 * self.size[0] + QUIET * self.module_px

    @property
    def inside(self) -> tuple[float, float]:
        """Left and right end of what lies between the marks."""
        left = self._margin + self.mark_px + QUIET * self.module_px
        return left, self.size[0] - left

    @cached_property
    def _grid(self) -> tuple[int, int]:
        """Bits across and down in one copy, so that cells are as near to squares as they can be."""
        (left, right), tall = self.inside, (BAND[1] - BAND[0]) * self.size[1]

        def unlike(across: int) -> float:
            return abs(math.log((right - left) / (4 * across) / (tall / (BITS // across))))

        across = min((4, 5, 8, 10), key=unlike)
        return across, BITS // across

    @cached_property
    def cells(self) -> F64:
        """(COPIES, BITS, 2, 4): the boxes of both cells of each bit of each copy: left, top, right, bottom.

        A bit lies in another place in each copy, so that a fault at one place of all copies spoils several bits a
        little instead of one bit wholly.
        """
        (left, right), (across, down) = self.inside, self._grid
        wide = (right - left) / (4 * across)
        tops = (BAND[0] * self.size[1], (1 - BAND[1]) * self.size[1])
        tall = (BAND[1] - BAND[0]) * self.size[1] / down
        boxes = np.empty((COPIES, BITS, 2, 4))
        for copy in range(COPIES):
            for bit in range(BITS):
                place = (bit + 10 * copy) % BITS
                x = left + (copy % 2 * 2 * across + place % across * 2) * wide
                y = tops[copy // 2] + place // across * tall
                boxes[copy, bit] = [(x, y, x + wide, y + tall), (x + wide, y, x + 2 * wide, y + tall)]
        return boxes

    @cached_property
    def strip(self) -> F64:
        """(16, 4): the boxes of the strip's fields."""
        left, right = self.inside
        edges = np.linspace(left, right, len(STRIP_STEPS) + 1)
        top, foot = (share * self.size[1] for share in STRIP)
        return np.array([(a, top, b, foot) for a, b in pairwise(edges)])

    def first_bright(self, bits: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(COPIES, BITS): whether the first cell of each pair is the bright one. Every second copy is inverted."""
        return np.asarray(bits[None, :] ^ (np.arange(COPIES) % 2 == 1)[:, None], bool)
