"""A sheet of frames cut into its cells: one picture that holds the frames of a part in columns and rows."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from keyturn.normalize import decode
from keyturn.normalize.srgb import to_srgb, upright
from keyturn.shop.rulebook import Intake

Cell = tuple[int, int, int, int]
"""A frame's place in its sheet: left, top, right, bottom, in pixels."""


@dataclass(frozen=True, slots=True)
class SheetGrid:
    """Columns and rows of a sheet. `margin` lies around all cells and `gap` between two, in pixels of the sheet."""

    columns: int
    rows: int
    margin: int = 0
    gap: int = 0

    def cell_size(self, size: tuple[int, int]) -> tuple[int, int] | None:
        """Return width and height of each cell of a sheet of `size`; None where they are not whole and equal."""
        sides = []
        for length, count in zip(size, (self.columns, self.rows), strict=True):
            side, rest = divmod(length - 2 * self.margin - (count - 1) * self.gap, count)
            if rest or side < 1:
                return None
            sides.append(side)
        return sides[0], sides[1]

    def cells(self, size: tuple[int, int]) -> tuple[Cell, ...]:
        """Return the cells of a sheet of `size`, row by row; none where they are not whole and equal."""
        side = self.cell_size(size)
        if side is None:
            return ()
        (wide, high), step = side, (side[0] + self.gap, side[1] + self.gap)
        corners = [
            (self.margin + column * step[0], self.margin + row * step[1])
            for row in range(self.rows)
            for column in range(self.columns)
        ]
        return tuple((left, top, left + wide, top + high) for left, top in corners)


@dataclass(frozen=True, slots=True)
class SheetJob:
    """A sheet to be looked through; `name` is its path in the drop."""

    path: Path
    name: str
    intake: Intake
    cells: tuple[Cell, ...]


def filled(job: SheetJob) -> tuple[Cell, ...]:
    """Return the cells up to the last that shows something: a cell of one even colour shows nothing.

    Raise `Refused` where the sheet cannot be read, OSError where the shop's disk fails.
    """
    sheet, _ = to_srgb(upright(decode.still(job.path, job.intake, name=job.name)))
    shown = len(job.cells)
    while shown and _is_empty(sheet.crop(job.cells[shown - 1])):
        shown -= 1
    return job.cells[:shown]


def _is_empty(cell: Image.Image) -> bool:
    if cell.mode == "RGBA" and cell.getchannel("A").getextrema() == (0, 0):
        return True
    pixels = np.asarray(cell)
    return bool((pixels == pixels[0, 0]).all())
