"""desc.txt as each generation reads it: C's sscanf, spelt out."""

from __future__ import annotations

import re
from dataclasses import dataclass

from . import FIRST, FOURTH

BLANKS = b" \t\n\v\f\r"
BLACK = "000000"


@dataclass(frozen=True)
class Row:
    type: str
    count: int
    pause: int
    path: bytes
    colour: str = BLACK
    fade: int = 0


@dataclass(frozen=True)
class Desc:
    size: tuple[int, int, int] | None
    """Width, height and rate; None where no line gives them: the player then takes whatever its memory holds."""
    rows: tuple[Row, ...]


class Mismatch(Exception):  # noqa: N818 - an outcome, not an error
    """The line ends or differs here: sscanf stops."""


class Scan:
    """One line, read from left to right."""

    def __init__(self, line: bytes) -> None:
        self.rest = line

    def blanks(self) -> None:
        self.rest = self.rest.lstrip(BLANKS)

    def literal(self, byte: bytes) -> None:
        if not self.rest.startswith(byte):
            raise Mismatch
        self.rest = self.rest[1:]

    def char(self) -> bytes:
        if not self.rest:
            raise Mismatch
        first, self.rest = self.rest[:1], self.rest[1:]
        return first

    def number(self) -> int:
        self.blanks()
        digits = re.match(rb"[+-]?[0-9]+", self.rest)
        if digits is None:
            raise Mismatch
        self.rest = self.rest[digits.end() :]
        long = max(-(2**63), min(2**63 - 1, int(digits[0])))
        return (long + 2**31) % 2**32 - 2**31

    def word(self, most: int) -> bytes:
        self.blanks()
        word = re.match(rb"[^ \t\n\v\f\r]{1,%d}" % most, self.rest)
        if word is None:
            raise Mismatch
        self.rest = self.rest[word.end() :]
        return word[0]


def read(data: bytes, generation: int) -> Desc:
    """Read the lines that end with a newline, up to the first zero byte."""
    *lines, _unterminated = data.split(b"\0")[0].split(b"\n")
    size, rows = None, []
    for line in lines:
        if (found := _size(line)) is not None:
            size = found
        elif (row := _row(line, generation)) is not None:
            rows.append(row)
    return Desc(size, tuple(rows))


def _size(line: bytes) -> tuple[int, int, int] | None:
    scan = Scan(line)
    try:
        return scan.number(), scan.number(), scan.number()
    except Mismatch:
        return None


def _row(line: bytes, generation: int) -> Row | None:
    scan = Scan(line)
    try:
        if generation not in (FIRST, FOURTH):
            scan.blanks()
        letter = scan.char()
        if generation == FIRST and letter != b"p":
            return None
        row = Row(letter.decode("latin-1"), scan.number(), scan.number(), scan.word(LONGEST_PATH))
    except Mismatch:
        return None
    return _with_the_rest(row, scan, generation)


LONGEST_PATH = 255


def _with_the_rest(row: Row, scan: Scan, generation: int) -> Row:
    """Read the fade number of an f row on 14, and the colour; the first generation reads neither."""
    if generation == FIRST:
        return row
    fade, colour = 0, b""
    try:
        if generation == FOURTH and row.type == "f":
            fade = scan.number()
        scan.blanks()
        scan.literal(b"#")
        colour = scan.word(6)
    except Mismatch:
        pass
    valid = re.fullmatch(rb"[0-9a-fA-F]{6}", colour)
    return Row(row.type, row.count, row.pause, row.path, colour.decode().lower() if valid else BLACK, fade)
