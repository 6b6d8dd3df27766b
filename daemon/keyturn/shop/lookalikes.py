"""Names that look alike and are not: letters of other scripts, other spaces, characters that cannot be seen."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from keyturn.shop.folding import composed


def difference(name: str, others: Iterable[str]) -> str:
    """Return in words where `name` and the first of `others` that looks like it differ; empty where none does."""
    wanted = composed(name)
    return next((found for other in others if (found := _told(wanted, composed(other)))), "")


def _told(a: str, b: str) -> str:
    if a == b:
        return ""
    seen_a, seen_b = _seen(a), _seen(b)
    if seen_a == seen_b:
        return f"one of them holds a character that cannot be seen ({_name(_unseen(a) or _unseen(b))})"
    if len(seen_a) != len(seen_b):
        return ""
    apart = [(x, y) for x, y in zip(seen_a, seen_b, strict=True) if x != y]
    if any(x.isascii() and y.isascii() for x, y in apart) or len(apart) > max(1, len(seen_a) // 2):
        return ""
    x, y = apart[0]
    return f"the {_name(x)} of one is the {_name(y)} of the other"


def _seen(text: str) -> str:
    return "".join(c for c in text if unicodedata.category(c) != "Cf")


def _unseen(text: str) -> str:
    return next((c for c in text if unicodedata.category(c) == "Cf"), "")


def _name(character: str) -> str:
    return unicodedata.name(character, f"character {ord(character):04X}").lower()
