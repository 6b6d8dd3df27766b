"""The film strip: each frame's picture and number, and how much it differs from the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.records import RadioProof, RadioRecord

MOST_CELLS = 240
"""Of one part; a longer strip shows evenly chosen frames, each with the greatest change since the last shown."""

BAR_PX = 22
NEIGHBOURS = 3
STANDS_OUT = 1.9
"""One missing frame of a steady movement makes a step of twice its neighbours'."""

LEAST_STEP = 0.002
"""Mean change of relative luminance below which a step is not worth a look."""


@dataclass(frozen=True, slots=True)
class Cell:
    """`number` counts from 1. `bar` in pixels. `mark`: "same", "jump" or nothing."""

    number: int
    picture: int
    bar: float
    mark: str


@dataclass(frozen=True, slots=True)
class FilmStrip:
    """One part's strip, of `frames` frames; `cells` are fewer where the part is long."""

    path: str
    art: str
    frames: int
    cells: tuple[Cell, ...]

    @property
    def marked(self) -> dict[str, tuple[int, ...]]:
        marks = {cell.mark for cell in self.cells if cell.mark}
        return {mark: tuple(c.number for c in self.cells if c.mark == mark) for mark in sorted(marks)}


def film_strips(radio: RadioRecord, proof: RadioProof) -> tuple[FilmStrip, ...]:
    """A strip a part. Bars share one scale over all parts, so that they can be compared."""
    most = max((change for part in proof.changes for change in part), default=0.0)
    changes = proof.changes or tuple(() for _ in proof.order)
    return tuple(
        FilmStrip(part.path, part.art, len(order), _cells(order, moved, most))
        for part, order, moved in zip(radio.parts, proof.order, changes, strict=False)
    )


def _cells(order: Sequence[int], changes: Sequence[float], most: float) -> tuple[Cell, ...]:
    known = len(changes) == len(order)
    shown = evenly_spaced(len(order), MOST_CELLS)
    cells = []
    for before, at in pairwise([-1, *shown]):
        moved = max(changes[before + 1 : at + 1]) if known else 0.0
        mark = _mark(order, changes, range(before + 1, at + 1)) if known else ""
        cells.append(Cell(at + 1, order[at], BAR_PX * moved / most if most else 0.0, mark))
    return tuple(cells)


def _mark(order: Sequence[int], changes: Sequence[float], frames: range) -> str:
    if any(_stands_out(changes, f) for f in frames):
        return "jump"
    return "same" if any(f > 0 and order[f] == order[f - 1] for f in frames) else ""


def _stands_out(changes: Sequence[float], frame: int) -> bool:
    """A frame's first change, from nothing, is no step: it neither stands out nor counts as a neighbour."""
    around = [*changes[max(1, frame - NEIGHBOURS) : frame], *changes[frame + 1 : frame + 1 + NEIGHBOURS]]
    moving = [change for change in around if change > 0]
    if frame < 1 or len(moving) < NEIGHBOURS + 1 or changes[frame] < LEAST_STEP:
        return False
    return changes[frame] >= STANDS_OUT * median(moving)
