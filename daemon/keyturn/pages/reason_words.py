"""The texts of reasons in a page's language.

Records, logs and commands hold a reason in English. Where a page is in another language, the sentence that the text was
made from is looked up by its words (shop/reasons.md lists all), and its translation is filled with the same values.
So a text keeps what it was made with however old the record is, and one that no sentence fits is shown as it is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from keyturn.pages.languages import Language, language_of

DEEPEST = 4
"""A value may be a sentence of its own, with values of its own; so far they are looked up."""

SAYS_LITTLE = 3
"""A sentence with fewer fixed letters, such as "is ...", counts only where a value of it is a sentence too."""

SPACE = re.compile(r"%\((v\d+)\)s")
"""Where a value goes, in a sentence of the catalogue."""


@dataclass(frozen=True, slots=True)
class Worded:
    """A text in a language: `words`, and the code of the language that they are in."""

    words: str
    code: str


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence of reasons: its pattern in English, how many of its letters are fixed, its translation.

    `quoted` names the values that stand in quotes: they are somebody's own, a name or a word of job.toml.
    """

    pattern: re.Pattern[str]
    fixed: int
    longest_piece: str
    translation: str
    quoted: frozenset[str]

    @classmethod
    def read(cls, english: str, translation: str) -> Sentence:
        """Return the sentence as the catalogue writes it: %(v1)s for a value, %% for a percent sign."""
        pieces = SPACE.split(english)
        texts, names = [text.replace("%%", "%") for text in pieces[::2]], pieces[1::2]
        pattern = re.escape(texts[0])
        for name, text in zip(names, texts[1:], strict=True):
            pattern += f"(?P<{name}>.*?){re.escape(text)}"
        quoted = frozenset(name for name, text in zip(names, texts, strict=False) if text.endswith('"'))
        fixed = sum(len(re.sub(r"\W", "", text)) for text in texts)
        return cls(re.compile(pattern, re.DOTALL), fixed, max(texts, key=len), translation, quoted)


def told(text: str, language: Language) -> Worded:
    """Return a reason's text in the language; in English where it is of no sentence that the catalogue has."""
    if language.code == "en":
        return Worded(text, "en")
    words = _translated(text, language, DEEPEST) or _named(text, language)
    return Worded(text, "en") if words is None else Worded(words, language.code)


def _named(text: str, language: Language) -> str | None:
    """Return a sentence that a name stands before, as that of one of several radios; None where it is none."""
    name, colon, rest = text.partition(": ")
    words = _translated(rest, language, DEEPEST) if colon else None
    return words and f"{language.isolated(name)}: {words}"


def _translated(text: str, language: Language, deep: int) -> str | None:
    for sentence in _sentences(language.code):
        # Most sentences are ruled out by one search for a piece of text, which costs a fraction of a pattern.
        if sentence.longest_piece not in text or not (found := sentence.pattern.fullmatch(text)):
            continue
        known = {
            name: words
            for name, value in found.groupdict().items()
            if deep and name not in sentence.quoted and (words := _translated(value, language, deep - 1)) is not None
        }
        if known or sentence.fixed >= SAYS_LITTLE:
            kept = {name: language.isolated(value) for name, value in found.groupdict().items()}
            return sentence.translation % {**kept, **known}
    return None


@cache
def _sentences(code: str) -> tuple[Sentence, ...]:
    """Return the sentences of a language, those with the most fixed letters first: they fit best."""
    every = (Sentence.read(english, translation) for english, translation in language_of(code).reasons)
    return tuple(sorted(every, key=lambda sentence: -sentence.fixed))
