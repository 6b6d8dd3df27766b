"""Plain text for a stick: narrow lines with CRLF ends, which any machine can read."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from keyturn.pages.languages import Language

WIDTH = 72
_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
"""General categories of characters without a shape of their own: controls, directions, line ends, surrogates."""

_ISOLATES = "\u2066\u2068\u2069"


def text_file(lines: Iterable[str], language: Language) -> str:
    """Return the lines with CRLF ends.

    In English they are ASCII, which any machine can read. Other languages need more: their text begins with a byte
    order mark, by which old editors know UTF-8.
    """
    return ("" if language.code == "en" else "\ufeff") + "".join(f"{line}\r\n" for line in lines)


def chapter(title: str, texts: Sequence[str], mark: str | None, language: Language) -> Iterator[str]:
    """Yield a title and its texts, each with `mark` before it, or numbered where `mark` is None."""
    yield from ("", _readable(title, language).upper(), "-" * len(title))
    for number, text in enumerate(texts, start=1):
        yield from wrapped(text, f"{mark or f'{number}.'} ", language)


def wrapped(text: str, mark: str, language: Language) -> list[str]:
    """Return the text as lines, `mark` before the first and blanks of its width before the others."""
    return textwrap.wrap(_readable(text, language), WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))


def _readable(text: str, language: Language) -> str:
    """Return `text` as one line. In English it is ASCII: letters without accents, "?" for every other character."""
    if language.code != "en":
        return "".join("?" if unicodedata.category(c) in _UNSEEN and c not in _ISOLATES else c for c in text)
    plain = unicodedata.normalize("NFKD", text.replace("\u00d7", "x"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in plain)
