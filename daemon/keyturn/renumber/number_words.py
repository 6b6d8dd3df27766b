"""Numbers that stand in names as words ("lamp two") or in Roman figures ("Lamp IV"). Pure: no disk.

They count where all names of a part together make a complete run, so that a word which happens to be a number is none.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

MOST = 99
"""Longest run: Roman figures up to 99 are known."""

_WORDS = {
    "English": "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    "seventeen eighteen nineteen twenty",
    "German": "null eins zwei drei vier funf sechs sieben acht neun zehn elf zwolf dreizehn vierzehn funfzehn sechzehn "
    "siebzehn achtzehn neunzehn zwanzig",
    "Dutch": "nul een twee drie vier vijf zes zeven acht negen tien elf twaalf dertien veertien vijftien zestien "
    "zeventien achttien negentien twintig",
    "French": "zero un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize dixsept "
    "dixhuit dixneuf vingt",
    "Spanish": "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciseis "
    "diecisiete dieciocho diecinueve veinte",
    "Italian": "zero uno due tre quattro cinque sei sette otto nove dieci undici dodici tredici quattordici quindici "
    "sedici diciassette diciotto diciannove venti",
    "Portuguese": "zero um dois tres quatro cinco seis sete oito nove dez onze doze treze quatorze quinze dezasseis "
    "dezassete dezoito dezanove vinte",
}
"""The words for 0 to 20, without accents, blanks and hyphens. Who has more pictures writes figures."""

_ALSO = {
    "German": {"ein": 1, "fuenf": 5, "zwoelf": 12, "fuenfzehn": 15},
    "French": {"une": 1},
    "Spanish": {"un": 1},
    "Portuguese": {"catorze": 14, "dezesseis": 16, "dezessete": 17, "dezenove": 19},
}

_LANGUAGES: tuple[Mapping[str, int], ...] = tuple(
    {**{word: number for number, word in enumerate(words.split())}, **_ALSO.get(language, {})}
    for language, words in _WORDS.items()
)

_ROMAN = re.compile(r"(?=.)(xc|xl|l?x{0,3})(ix|iv|v?i{0,3})")
_FIGURES = {"i": 1, "v": 5, "x": 10, "l": 50, "c": 100}


def numbers_in_words(stems: Sequence[str]) -> tuple[int, ...] | None:
    """Return the number of each name, where their words or Roman figures make a complete run; else None.

    `stems` are names without folder and ending.
    """
    if not 2 <= len(stems) <= MOST:
        return None
    plain = [_plain(stem) for stem in stems]
    start, end = _common(plain), _common([name[::-1] for name in plain])
    for before in range(start, -1, -1):
        for after in range(end, -1, -1):
            if not _is_number(plain[0][before : len(plain[0]) - after]):  # most cuts end here, at the cost of one name
                continue
            middles = [name[before : len(name) - after] for name in plain if len(name) > before + after]
            if len(middles) < len(plain):
                continue
            as_words = plain[0][:before].endswith(" ") and plain[0][len(plain[0]) - after :].startswith(" ")
            if found := _run(middles, as_words):
                return found
    return None


def _plain(stem: str) -> str:
    """Return the name in small letters without accents, all that is no letter as a single blank."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", stem)
    letters = "".join(c for c in unicodedata.normalize("NFKD", apart.lower()) if not unicodedata.combining(c))
    return f" {re.sub(r'[^a-z]+', ' ', letters).strip()} "


def _common(names: Sequence[str]) -> int:
    """Return how many letters all names begin with alike."""
    first, last = min(names), max(names)
    return next((at for at, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), min(map(len, names)))


def _run(middles: Sequence[str], as_words: bool) -> tuple[int, ...] | None:
    """Return the numbers that the words are, all in one language; or in Roman figures, where they stand `as_words`."""
    words = [middle.replace(" ", "") for middle in middles]
    languages = ([table.get(word) for word in words] for table in _LANGUAGES)
    runs = [_complete(numbers) for numbers in (*languages, map(_roman, words if as_words else [""]))]
    return next(filter(None, runs), None)


def _is_number(middle: str) -> bool:
    word = middle.replace(" ", "")
    return any(word in table for table in _LANGUAGES) or _roman(word) is not None


def _roman(word: str) -> int | None:
    """Return the number from 1 to 99 that `word` is in Roman figures; None for any other word."""
    if not word or not _ROMAN.fullmatch(word):
        return None
    values = [_FIGURES[letter] for letter in word]
    return sum(-a if a < b else a for a, b in zip(values, [*values[1:], 0], strict=True))


def _complete(numbers: Iterable[int | None]) -> tuple[int, ...] | None:
    known: list[int] = []
    for number in numbers:
        if number is None:
            return None
        known.append(number)
    return tuple(known) if sorted(known) == list(range(min(known), min(known) + len(known))) else None
