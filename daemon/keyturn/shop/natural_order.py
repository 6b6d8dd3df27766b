"""The order in which people number files: frame2 before frame10."""

from __future__ import annotations

import re

_DIGITS = re.compile("([0-9]+)")

NaturalKey = tuple[tuple[int, int, str], ...]


def natural_key(name: str) -> NaturalKey:
    """Return a sort key that compares runs of ASCII digits in `name` as numbers and the text between them as text.

    Upper and lower case are told apart. Numbers are compared by length, then digit by digit, because Python converts
    at most 4,300 digits to an integer by default (docs.python.org, "Integer string conversion length limitation").
    """
    return tuple(_step(text, is_number=bool(i % 2)) for i, text in enumerate(_DIGITS.split(name)))


def _step(text: str, is_number: bool) -> tuple[int, int, str]:
    """Return the key of one run. Texts and numbers alternate in a name, so like is only compared with like."""
    if not is_number:
        return 0, 0, text
    digits = text.lstrip("0")
    return 1, len(digits), digits
