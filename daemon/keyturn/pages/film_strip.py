"""The film strip: each frame's picture and number, and how much it differs from the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from keyturn.eye.motion import stumbles
from keyturn.pages.languages import ENGLISH, Language
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.records import RadioProof, RadioRecord

MOST_CELLS = 240
"""Cells of one part. A longer part shows evenly spaced frames, each with the largest change since the one before."""

BAR_PX = 22


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


def film_strips(radio: RadioRecord, proof: RadioProof, language: Language = ENGLISH) -> tuple[FilmStrip, ...]:
    """Return a strip for each part. The bars of all parts have one scale, so that they can be compared."""
    most = max((change for part in proof.changes for change in part), default=0.0)
    changes = proof.changes or tuple(() for _ in proof.order)
    return tuple(
        FilmStrip(
            language.gettext("Part %(number)s", number=number),
            part.art,
            len(order),
            _cells(order, moved, most, part.places),
        )
        for number, (part, order, moved) in enumerate(zip(radio.parts, proof.order, changes, strict=False), 1)
    )


def _cells(order: Sequence[int], changes: Sequence[float], most: float, places: Sequence[int]) -> tuple[Cell, ...]:
    """Return the cells of a part. A step that stands out is marked as the judge finds it."""
    known = len(changes) == len(order)
    jumps = frozenset(stumbles(changes[1:], _steps(places, len(order))).jumps) if known else frozenset()
    shown = evenly_spaced(len(order), MOST_CELLS)
    cells = []
    for before, at in pairwise([-1, *shown]):
        moved = max(changes[before + 1 : at + 1]) if known else 0.0
        mark = _mark(order, jumps, range(before + 1, at + 1)) if known else ""
        cells.append(Cell(at + 1, order[at], BAR_PX * moved / most if most else 0.0, mark))
    return tuple(cells)


def _steps(places: Sequence[int], frames: int) -> tuple[int, ...]:
    """Return how far each frame but the first is from the one before, in frames of the part as it was drawn."""
    return tuple(b - a for a, b in pairwise(places if len(places) == frames else range(frames)))


def _mark(order: Sequence[int], jumps: frozenset[int], frames: range) -> str:
    if not jumps.isdisjoint(frames):
        return "jump"
    return "same" if any(f > 0 and order[f] == order[f - 1] for f in frames) else ""
