"""The kinds of values in the manifest. Each says what is wrong with a value in the artist's words."""

from __future__ import annotations

import re
from pathlib import PurePosixPath
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

_HEX = re.compile(r"#[0-9a-fA-F]{6}")
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u2028\u2029]")


def one_line(text: str) -> str:
    text = text.strip()
    if not text:
        raise ValueError("must not be empty")
    if _CONTROL.search(text):
        raise ValueError("must be a single line of plain text")
    return text


MOST_LINES = 12
"""Lines of one text that an artist breaks by hand."""


def lines_of_text(text: str) -> str:
    """Return the text without blanks around its lines. Empty lines between two stay."""
    lines = [line.strip() for line in text.replace("\r\n", "\n").strip().split("\n")]
    if not any(lines):
        raise ValueError("must not be empty")
    if any(map(_CONTROL.search, lines)):
        raise ValueError("must be plain text")
    if len(lines) > MOST_LINES:
        raise ValueError(f"has more than {MOST_LINES} lines")
    return "\n".join(lines)


def inside_the_drop(pattern: str) -> str:
    path = PurePosixPath(pattern)
    if path.is_absolute() or ".." in path.parts or "\\" in pattern or "**" in pattern:
        raise ValueError("must name files inside the drop, with / between folders and without .. or **")
    return pattern


def hex_colour(text: str) -> str:
    if not _HEX.fullmatch(text):
        raise ValueError('must be a colour such as "#0b1d2a"')
    return text.lower()


Words = Annotated[str, Field(max_length=200), AfterValidator(one_line)]
Art = Annotated[str, Field(min_length=1, max_length=300), AfterValidator(inside_the_drop)]
Colour = Annotated[str, AfterValidator(hex_colour)]
Share = Annotated[float, Field(ge=0, le=1)]


class Table(BaseModel):
    # No docstring: pydantic would put it into the JSON Schema of every table.
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)


def rgb(colour: str) -> tuple[int, int, int]:
    """Return a `Colour` as 8-bit sRGB."""
    red, green, blue = bytes.fromhex(colour[1:])
    return red, green, blue
