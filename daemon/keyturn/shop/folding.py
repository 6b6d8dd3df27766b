"""How words are compared where capitals, blanks, hyphens and × for x make no difference, and spaces made plain."""

from __future__ import annotations

import re
import unicodedata

ZERO_WIDTH = dict.fromkeys(map(ord, "\u200b\u2060\ufeff"))
"""Characters that cannot be seen and join nothing: zero width space, word joiner, byte-order mark."""


def folded(word: str) -> str:
    """Return `word` in small letters without blanks, hyphens, dashes and underlines, × as x."""
    small = unicodedata.normalize("NFKC", word.replace("×", "x")).casefold().translate(ZERO_WIDTH)
    return "".join(c for c in small if not (c.isspace() or c == "_" or unicodedata.category(c) == "Pd"))


def plain_spaces(text: str) -> str:
    """Return `text` with plain spaces in place of no-break spaces and other spaces of print (category Zs)."""
    return re.sub(r"[\xa0\u1680\u2000-\u200a\u202f\u205f\u3000]", " ", text)


def composed(text: str) -> str:
    """Return `text` with each letter and its accent as one character (NFC); a Mac's file names have them as two."""
    return unicodedata.normalize("NFC", text)
