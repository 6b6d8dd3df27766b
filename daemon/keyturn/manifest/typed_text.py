"""TOML as word processors and hands leave it: quotes, spaces, commas and keys of one plain meaning are put right.

Only text that is not TOML comes here, and of it only lines that are not TOML by themselves are changed. One pass.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from keyturn.manifest import dotted_keys
from keyturn.manifest.as_meant import truth
from keyturn.manifest.wording import TABLES
from keyturn.shop.folding import ZERO_WIDTH, folded, plain_spaces

MOST_LINES = 10_000
"""The longest manifest that means anything has a few hundred."""

_DOUBLE, _SINGLE = '"“”„‟«»″〝〞＂「」『』', "'‘’‚‛‹›′`´＇"
_ENDS = r"(?=\s*(?:[,\]}}#;]|$))"
_STRAIGHT = re.compile(r'"(?:[^"\\]|\\.)*+"(?=\s*+(?:[,\]}#=.]|$))|\'[^\']*+\'(?=\s*+(?:[,\]}#=.]|$))')
_LAST = {family: re.compile(rf"[{re.escape(family)}]{_ENDS}".replace("}}", "}")) for family in (_DOUBLE, _SINGLE)}
_HEADER = re.compile(r"^[ \t]*(\[\[?)([\w .\-]+?)(\]\]?)(?=[ \t]*(?:#|$))", re.MULTILINE)
_SPACED_KEY = re.compile(r"^(\s*+)([^\W\d][\w\-]*+(?:[ \t]++[\w\-]++)++)(?=[ \t]*+=)")
_DECIMAL = re.compile(r"(=\s*[+-]?)(?![1-9]\d{0,2},\d{3}\b)(\d+),(\d+)(?=\s*(?:[}#]|,|$))")
_NUMBERS = re.compile(r"\[([^\[\]\"'#]*)\]")
_LISTS = re.compile(
    r"\b(path|place|focus|pivot|offset|bob|fade|size|from|to)([ \t]*=[ \t]*)(\[[^\"'#=\n]*\])", re.IGNORECASE
)
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_BARE_WORD = re.compile(r"(=\s*)(true|false|yes|no|on|off|auto|forever)(?=\s*(?:[,}#]|$))", re.IGNORECASE)
_ART_KEY = re.compile(r"\b(?:art|backdrop|sprite|from|to)\s*=\s*\[?\s*$", re.IGNORECASE)
_BACKSLASHES = re.compile(r"\\(?!u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8})\\*")
_DASHES = str.maketrans("‐‑‒–—―−", "-" * 7)

QUOTES = "quotes of another kind were read as plain ones"
SPACES = "spaces of another kind were read as plain ones"
DASHES = "dashes were read as minus signs"
KEYS = "keys were read without their blanks"
HEADERS = "names of tables were read in small letters"
COMMAS = "decimal commas were read as points"
WORDS = "words were read as TOML writes them: true, false, or in quotes"
SLASHES = "back slashes were read as / between folders"


@dataclass(slots=True)
class Mending:
    """What was mended, each with the number of the first line where it was."""

    at: dict[str, int] = field(default_factory=dict)
    line: int = 0

    def seen(self, what: str) -> None:
        self.at.setdefault(what, self.line)

    def told(self) -> list[str]:
        return [f"{what}, first in line {line}" for what, line in self.at.items()]


def with_plain_headers(text: str) -> tuple[str, list[str]]:
    """Return `text` with [Part] as [part], and what was mended: TOML would take the two for two tables."""
    mending = Mending()

    def plain(found: re.Match[str]) -> str:
        steps = [name if (name := folded(step)) in TABLES else step for step in found[2].split(".")]
        made = ".".join(steps)
        if made == found[2].replace(" ", "") or len(found[1]) != len(found[3]):
            return found[0]
        mending.line = text.count("\n", 0, found.start()) + 1 if HEADERS not in mending.at else 0
        mending.seen(HEADERS)
        return f"{found[1]}{made}{found[3]}"

    return _HEADER.sub(plain, text), mending.told()


def with_plain_lists(text: str) -> tuple[str, list[str]]:
    """Return `text` with [-0,15, 0,6] as [-0.15, 0.6] in fields of two or four numbers, and what was mended.

    TOML would read twice as many whole numbers, which those fields do not take, and lose the sign of -0.
    """
    mending = Mending()

    def plain(found: re.Match[str]) -> str:
        length = 4 if found[1].lower() in ("from", "to") else 2
        made = _NUMBERS.sub(lambda each: _with_points(each, length), found[3])
        if made == found[3]:
            return found[0]
        mending.line = text.count("\n", 0, found.start()) + 1 if COMMAS not in mending.at else 0
        mending.seen(COMMAS)
        return found[1] + found[2] + made

    return _LISTS.sub(plain, text), mending.told()


def mended(text: str) -> tuple[str, list[str]]:
    """Return `text` with what has one plain meaning put right, line by line, and what was mended."""
    lines = text.split("\n")
    if len(lines) > MOST_LINES:
        return text, []
    mending = Mending()
    made = []
    for mending.line, line in enumerate(lines, 1):
        made.append(line if _is_toml(line) else _line(line, mending))
    return "\n".join(made), mending.told()


def _is_toml(line: str) -> bool:
    if '"""' in line or "'''" in line or dotted_keys.line_of_too_long(line):
        return True
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def _line(line: str, mending: Mending) -> str:
    made, seen = [""], line.translate(ZERO_WIDTH)
    if seen != line:
        mending.seen(SPACES)
    for kind, piece in _pieces(seen):
        if kind == "string":
            made.append(_string(piece, made[-1], mending))
        else:
            made.append(_outside(piece, mending, starts=len(made) == 1) if kind == "outside" else piece)
    return "".join(made)


def _pieces(line: str) -> Iterator[tuple[str, str]]:
    """Yield the line as pieces: "string" with its quotes, "outside", and "rest": a comment or a string without end."""
    start = place = 0
    while place < len(line) and line[place] != "#":
        if line[place] not in _DOUBLE and line[place] not in _SINGLE:
            place += 1
            continue
        end = _end_of_string(line, place)
        if end is None:
            break
        yield "outside", line[start:place]
        yield "string", line[place:end]
        start = place = end
    yield "outside", line[start:place]
    yield "rest", line[place:]


def _end_of_string(line: str, start: int) -> int | None:
    """Return where the string that starts at `start` ends: at its own quote, or at one like it before a , ] } or #."""
    if found := _STRAIGHT.match(line, start):
        return found.end()
    last = _LAST[_DOUBLE if line[start] in _DOUBLE else _SINGLE].search(line, start + 1)
    if last is None or (line[start] in "\"'" and line.find(line[start], start + 1, last.end() - 1) > 0):
        return None  # "a" "b": there is no telling what is meant
    return last.end()


def _string(piece: str, before: str, mending: Mending) -> str:
    """Return a string in plain quotes, with / for its back slashes where it names files."""
    inner, made = piece[1:-1], piece
    if not _STRAIGHT.fullmatch(piece):
        mending.seen(QUOTES)
        if piece[0] in _SINGLE:
            inner = inner.replace("\\", "\\\\")
        inner = re.sub(r'(?<!\\)"', '\\"', inner)
        made = f'"{inner}"'
    if made[0] == '"' and "\\" in inner and _ART_KEY.search(before[-40:]):
        mending.seen(SLASHES)
        made = '"' + _BACKSLASHES.sub("/", inner) + '"'
    return made


def _outside(piece: str, mending: Mending, *, starts: bool) -> str:
    """Return what stands between strings with plain spaces, keys and numbers. `starts`: the line starts with it."""
    for what, made in _steps(starts):
        before, piece = piece, made(piece)
        if piece != before:
            mending.seen(what)
    return piece


def _steps(starts: bool) -> Iterator[tuple[str, Callable[[str], str]]]:
    yield SPACES, plain_spaces
    yield DASHES, lambda text: text.translate(_DASHES)
    if starts:
        yield KEYS, lambda text: _SPACED_KEY.sub(_joined, text)
    yield COMMAS, lambda text: _NUMBERS.sub(_with_points, _DECIMAL.sub(r"\1\2.\3", text))
    yield WORDS, lambda text: _BARE_WORD.sub(_as_toml, text)


def _as_toml(found: re.Match[str]) -> str:
    meant = truth(found[2])
    return found[1] + (f'"{found[2]}"' if meant is None else str(meant).lower())


def _joined(found: re.Match[str]) -> str:
    return found[1] + re.sub(r"\s+", "_", found[2])


def _with_points(found: re.Match[str], length: int = 0) -> str:
    """Return a list of numbers with points, where ; or a comma with a blank parts them: [0,5, 0,4].

    Where `length` is given, only a list of so many.
    """
    numbers = re.split(r"\s*;\s*|,\s+", found[1].strip())
    if length and len(numbers) != length:
        return found[0]
    if not any("," in number for number in numbers) or not all(map(_NUMBER.fullmatch, numbers)):
        return found[0]
    return "[" + ", ".join(number.replace(",", ".") for number in numbers) + "]"
