"""Text from outside, such as the name of a file, made fit for a line of a log or of a terminal.

The files themselves keep their names.
"""

from __future__ import annotations

import re

_UNFIT = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters (categories Cc, Zl and Zp), changes of the writing direction (the property Bidi_Control, Unicode
Standard Annex 9), and surrogates: bytes of a name that are not UTF-8 (PEP 383)."""


def plain_line(text: str) -> str:
    """Return `text` as one line of plain text: U+FFFD stands for each character that would be obeyed, not shown."""
    return _UNFIT.sub("\N{REPLACEMENT CHARACTER}", text)


def escaped_in_json(document: str) -> str:
    r"""Return a JSON document that means the same, with an escape (\u009b) for each such character but line breaks."""
    return _UNFIT.sub(lambda found: found[0] if found[0] == "\n" else f"\\u{ord(found[0]):04x}", document)
