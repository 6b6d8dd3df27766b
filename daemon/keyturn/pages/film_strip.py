"""The film strip: each frame's picture and number, and how much it differs from the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.records import RadioProof, RadioRecord

MOST_CELLS = 240
"""Cells of one part. A longer part shows evenly spaced frames, each with the largest change since the one before."""

BAR_PX = 22
NEIGHBOURS = 3
STANDS_OUT = 1.9
"""A step stands out from this many times the median of its neighbours on. A frame that is missing from a steady
movement makes a step of twice the others."""

LEAST_STEP = 0.002
"""Smaller steps (mean change of relative luminance) are never marked."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One frame of the strip: its number from 1, its picture, its bar's height in px.

    `mark` is "same" for a doubled frame, "jump" for a step that stands out, else empty.
    """

    number: int
    picture: int
    bar: float
    mark: str


@dataclass(frozen=True, slots=True)
class FilmStrip:
    """The strip of a part with `frames` frames. A long part has fewer cells."""

    title: str
    art: str
    frames: int
    cells: tuple[Cell, ...]

    @property
    def marked(self) -> dict[str, tuple[int, ...]]:
        """The numbers of the marked cells, by mark."""
        marks = {cell.mark for cell in self.cells if cell.mark}
        return {mark: tuple(c.number for c in self.cells if c.mark == mark) for mark in sorted(marks)}


def film_strips(radio: RadioRecord, proof: RadioProof) -> tuple[FilmStrip, ...]:
    """Return a strip for each part. The bars of all parts have one scale, so that they can be compared."""
    most = max((change for part in proof.changes for change in part), default=0.0)
    changes = proof.changes or tuple(() for _ in proof.order)
    return tuple(
        FilmStrip(f"Part {number}", part.art, len(order), _cells(order, moved, most, part.places))
        for number, (part, order, moved) in enumerate(zip(radio.parts, proof.order, changes, strict=False), 1)
    )


def _cells(order: Sequence[int], changes: Sequence[float], most: float, places: Sequence[int]) -> tuple[Cell, ...]:
    """Return the cells of a part. A step over frames that Keyturn left out itself must stand out for each as well."""
    known = len(changes) == len(order)
    even = [moved / step for moved, step in zip(changes, _steps(places, len(order)), strict=False)]
    shown = evenly_spaced(len(order), MOST_CELLS)
    cells = []
    for before, at in pairwise([-1, *shown]):
        moved = max(changes[before + 1 : at + 1]) if known else 0.0
        mark = _mark(order, changes, even, range(before + 1, at + 1)) if known else ""
        cells.append(Cell(at + 1, order[at], BAR_PX * moved / most if most else 0.0, mark))
    return tuple(cells)


def _steps(places: Sequence[int], frames: int) -> tuple[int, ...]:
    """Return how far each frame is from the one before, in frames of the part as it was drawn; 1 for the first."""
    known = places if len(places) == frames else range(frames)
    return (1, *(b - a for a, b in pairwise(known)))


def _mark(order: Sequence[int], changes: Sequence[float], even: Sequence[float], frames: range) -> str:
    if any(_stands_out(changes, f) and _stands_out(even, f) for f in frames):
        return "jump"
    return "same" if any(f > 0 and order[f] == order[f - 1] for f in frames) else ""


def _stands_out(changes: Sequence[float], frame: int) -> bool:
    """Tell whether a frame changes much more than the frames around it.

    A part's first frame has none before it, so its change neither stands out nor counts as a neighbour's.
    """
    around = [*changes[max(1, frame - NEIGHBOURS) : frame], *changes[frame + 1 : frame + 1 + NEIGHBOURS]]
    moving = [change for change in around if change > 0]
    if frame < 1 or len(moving) < NEIGHBOURS + 1 or changes[frame] < LEAST_STEP:
        return False
    return changes[frame] >= STANDS_OUT * median(moving)
