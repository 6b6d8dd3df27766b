"""The order in which letters are seen: from left to right, from right to left, or mixed.

FriBidi tells it: the library with which Raqm, in Pillow, orders letters. Pillow orders the letters of one font alone,
so a text in several fonts is cut into runs here, each of one font and one direction.
"""

from __future__ import annotations

import ctypes
import re
import unicodedata
from collections.abc import Sequence
from functools import cache
from typing import Any

_LIBRARIES = ("libfribidi.so.0", "libfribidi.so", "libfribidi.dylib")
"""The names by which Pillow's own loader of FriBidi looks for it too."""

_DIRECTION_OF_ITS_LETTERS = 0x40
"""FRIBIDI_PAR_ON in fribidi-bidi-types.h: the first letter with a direction decides, else left to right."""

OVERRIDES = "\u202d\u202e"
"""Characters that force letters into one direction. No text that is meant to be read has them."""

_UNSEEN = re.compile("[\u061c\u200b\u200e\u200f\u202a-\u202c\u2060\u2066-\u2069\ufeff]")
"""Marks of direction, and of where a line may or may not be broken: they have done their work once it is laid out."""

_JOINED = (
    (0x0590, 0x08FF),  # Hebrew, Arabic, Syriac, Thaana, N'Ko and others
    (0x0900, 0x109F),  # Devanagari to Myanmar, with Thai, Lao and Tibetan
    (0x1100, 0x11FF),  # Hangul in parts
    (0x1700, 0x18AF),  # Philippine scripts, Khmer, Mongolian
    (0x1900, 0x1CFF),  # Limbu to Vedic
    (0x2D30, 0x2D7F),  # Tifinagh
    (0xA800, 0xABFF),
    (0xFB1D, 0xFDFF),
    (0xFE70, 0xFEFE),
    (0x10800, 0x11FFF),  # further scripts from right to left, and of India
    (0x16100, 0x1613F),
    (0x1E000, 0x1EFFF),
    (0x1F1E6, 0x1F1FF),  # flags
)
"""Blocks of scripts whose letters join, change places or stand above each other (Unicode's Blocks.txt)."""


def needs_raqm(text: str) -> bool:
    """Whether the text cannot be set by putting letter after letter: it needs Raqm."""
    return any(
        any(first <= ord(letter) <= last for first, last in _JOINED)
        or unicodedata.category(letter) in ("Mn", "Mc", "Me")
        or letter in "\u200c\u200d\u200f\u202b\u2067"
        for letter in unicodedata.normalize("NFC", text)
    )


def levels(text: str) -> tuple[int, ...]:
    """Return the embedding level of each letter of a line: even is left to right, odd right to left.

    Unicode Standard Annex 9 (bidirectional algorithm), by FriBidi. Raise OSError where FriBidi is not there.
    """
    if not text or not any(_turns(letter) for letter in text):
        return (0,) * len(text)
    library, count = _fribidi(), len(text)
    letters = (ctypes.c_uint32 * count)(*map(ord, text))
    types, brackets, found = (ctypes.c_uint32 * count)(), (ctypes.c_uint32 * count)(), (ctypes.c_int8 * count)()
    direction = ctypes.c_uint32(_DIRECTION_OF_ITS_LETTERS)
    library.fribidi_get_bidi_types(letters, count, types)
    library.fribidi_get_bracket_types(letters, count, types, brackets)
    if not library.fribidi_get_par_embedding_levels_ex(types, brackets, count, ctypes.byref(direction), found):
        raise MemoryError("FriBidi has no memory")
    return tuple(found)


def _turns(letter: str) -> bool:
    return unicodedata.bidirectional(letter) in ("R", "AL", "AN", "RLE", "RLI", "RLO", "LRO")


@cache
def _fribidi() -> Any:
    for name in _LIBRARIES:
        try:
            return ctypes.CDLL(name)
        except OSError:
            continue
    raise OSError("FriBidi is not installed")


def runs_as_seen(levels_of_runs: Sequence[int]) -> list[int]:
    """Return the indices of runs from left to right. Each run has one level (Unicode Standard Annex 9, rule L2)."""
    order = list(range(len(levels_of_runs)))
    odd = [level for level in levels_of_runs if level % 2]
    for level in range(max(levels_of_runs, default=0), min(odd, default=1) - 1, -1):
        start = 0
        while start < len(order):
            end = start
            while end < len(order) and levels_of_runs[order[end]] >= level:
                end += 1
            order[start:end] = order[start:end][::-1]
            start = max(end, start + 1)
    return order


def without_unseen(text: str) -> str:
    """Return the text without the marks that a font need not have a shape for."""
    return _UNSEEN.sub("", text)
