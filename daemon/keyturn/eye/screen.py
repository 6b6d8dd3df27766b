"""A screen as the flash check sees it: divided into cells, and so many of them to a 10-degree field.

Source: W3C WCAG 2.2, 'general flash and red flash thresholds'.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.luminance import edges_px
from keyturn.shop import radio_profile, rulebook

F32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Screen:
    """A screen as the flash check sees it: its size, the 10-degree field's size, and a cell's side, in pixels.

    WCAG 2.2 bounds the flashing area by 0.006 steradians, 'no more than 25% of any 10 degree visual field'. That is a
    solid angle at the eye. So the limit is a quarter of the *whole* field even where the panel is smaller than the
    field: the panel's edge does not make the same light more dangerous. The field is tried at every position on the
    panel; where the panel is smaller there is only one.
    """

    width_px: int
    height_px: int
    field_px: tuple[float, float]
    cell_px: float

    @classmethod
    def of(cls, panel: radio_profile.Panel, flash: rulebook.Flash) -> Screen:
        """Make the screen of a panel's geometry.

        The field is 4:3 as in WCAG's own example. At a width d of 10 degrees its area, 0.75 d^2, is just under the
        10-degree circle's 0.785 d^2, so its quarter is the stricter one.
        """
        width = flash.field_deg * panel.degree_px
        return cls(panel.width, panel.height, (width, 0.75 * width), flash.cell_deg * panel.degree_px)

    @classmethod
    def wcag(cls, flash: rulebook.Flash, size: tuple[int, int] = (1024, 768)) -> Screen:
        """Make a screen by WCAG's estimate for common ones: a field of 341 x 256 px at 1024 x 768, scaled to `size`."""
        width, height = size
        return cls.with_field(size, (341 * width / 1024, 256 * height / 768), flash)

    @classmethod
    def with_field(cls, size: tuple[int, int], field_px: tuple[float, float], flash: rulebook.Flash) -> Screen:
        """Make a screen whose 10-degree field is known in pixels."""
        return cls(*size, field_px, field_px[0] * flash.cell_deg / flash.field_deg)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of cells."""
        rows, cols = (len(edges_px(n, self.cell_px)) - 1 for n in (self.height_px, self.width_px))
        return rows, cols

    @property
    def cell_area_px(self) -> F32:
        """(rows, cols): the area of each cell in pixels; the last row and column may be narrower."""
        tall, wide = (np.diff(edges_px(n, self.cell_px)) for n in (self.height_px, self.width_px))
        return np.outer(tall, wide).astype(np.float32)

    @property
    def field_area_px(self) -> float:
        return self.field_px[0] * self.field_px[1]

    @property
    def field_cells(self) -> tuple[float, float]:
        """Rows and columns of cells that make up a field; not whole numbers."""
        cell = max(self.cell_px, 1.0)
        return self.field_px[1] / cell, self.field_px[0] / cell
