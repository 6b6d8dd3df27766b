"""How many parts the keys of a TOML text have, found in one pass before the text is parsed.

`tomllib` takes time that grows with the square of the parts of one key: a key of 254 KiB holds it for over a minute.
"""

from __future__ import annotations

import re

MOST_PARTS = 16
"""The manifest's own keys have two parts at most."""

_TOKEN = re.compile(
    r"""
    \"{3} (?:[^\\"]|\\.|"{1,2}(?!"))*+ (?:"{3,5}|\Z)   # strings, as in TOML 1.0, "String"; unclosed: to the end
    | '{3} (?:[^']|'{1,2}(?!'))*+ (?:'{3,5}|\Z)
    | " (?:[^"\\\n]|\\[^\n])*+ "?
    | ' [^'\n]*+ '?
    | \# [^\n]*+
    | (?P<dot>\.)
    | (?P<end>[\n,=\[\]{}])
    """,
    re.VERBOSE | re.DOTALL,
)


def line_of_too_long(text: str) -> int | None:
    """Return the number, from 1, of the first line with a key of more than MOST_PARTS parts; None without one."""
    dots = 0
    for token in _TOKEN.finditer(text):
        if token.lastgroup == "end":
            dots = 0
        elif token.lastgroup == "dot":
            dots += 1
            if dots >= MOST_PARTS:
                return text.count("\n", 0, token.start()) + 1
    return None
