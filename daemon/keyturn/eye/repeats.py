"""What one play of a loop does to the cells is remembered: a play that begins in the same state does the same."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.transitions import Pair

MOST_BYTES = 16 * 2**20
"""What is remembered of a play may take so much memory; of a longer one nothing is."""

Packed = tuple[tuple[NDArray[np.uint8] | None, NDArray[np.uint8] | None], ...]


class Repeats:
    """Remembers the transitions of each picture since the last seam, and gives them again in a play that repeats.

    A seam is where a play begins. After two seams of one name the same pictures are shown, up to the next seam or the
    end. Where the state is the same too, so are all transitions, and the state after the play is that at its seam.
    """

    def __init__(self) -> None:
        self._start: tuple[Hashable, bytes] | None = None
        self._played: list[Packed] = []
        self._bytes = 0
        self._next: int | None = None

    def begin(self, seam: Hashable, state: Callable[[], Iterable[NDArray[Any]]]) -> None:
        """Begin a play at the seam of this name; `state` are all arrays on which coming transitions depend."""
        start = seam, _digest(state())
        if start == self._start and self._played:
            self._next = 0
        else:
            self._start, self._played, self._bytes, self._next = start, [], 0, None

    def known(self, shape: tuple[int, int]) -> list[Pair] | None:
        """Return the transitions of the next picture; None where they have to be worked out."""
        if self._next is None or self._next >= len(self._played):
            self._next = None
            return None
        packed = self._played[self._next]
        self._next += 1
        return [(_unpacked(rises, shape), _unpacked(falls, shape)) for rises, falls in packed]

    def note(self, pairs: Sequence[Pair]) -> None:
        """Remember the transitions of a picture that were worked out."""
        if self._start is None:
            return
        packed = tuple((_packed(rises), _packed(falls)) for rises, falls in pairs)
        self._bytes += sum(side.nbytes for pair in packed for side in pair if side is not None)
        self._played.append(packed)
        if self._bytes > MOST_BYTES:
            self._start, self._played = None, []


def _digest(arrays: Iterable[NDArray[Any]]) -> bytes:
    found = hashlib.blake2b(digest_size=32)
    for array in arrays:
        found.update(array.tobytes())
    return found.digest()


def _packed(cells: NDArray[np.bool_]) -> NDArray[np.uint8] | None:
    return np.packbits(cells) if cells.any() else None


def _unpacked(packed: NDArray[np.uint8] | None, shape: tuple[int, int]) -> NDArray[np.bool_]:
    if packed is None:
        return np.zeros(shape, np.bool_)
    cells: NDArray[np.bool_] = np.unpackbits(packed, count=shape[0] * shape[1]).reshape(shape).view(np.bool_)
    return cells
