"""desc.txt: the command file of a boot animation, written and read as the reference player does.

Source of the format: Android Open Source Project, frameworks/base, cmds/bootanimation (format description).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PartType = Literal["p", "c", "f"]


@dataclass(frozen=True, slots=True)
class Row:
    """One part row: TYPE COUNT PAUSE PATH [#RRGGBB]. `count` 0 repeats until booted.

    `pause` is as written in the file: frames by the standard, seconds where a radio's profile says so.
    """

    type: PartType
    count: int
    pause: int
    path: str
    colour: str | None = None

    def __str__(self) -> str:
        tail = f" {self.colour}" if self.colour else ""
        return f"{self.type} {self.count} {self.pause} {self.path}{tail}"


@dataclass(frozen=True, slots=True)
class Desc:
    """The whole file: panel size in pixels, frames a second, rows in playing order."""

    width: int
    height: int
    fps: int
    rows: tuple[Row, ...]


def write(desc: Desc) -> bytes:
    """Plain ASCII, LF endings, no byte-order mark, last line terminated: an unterminated row is dropped."""
    lines = [f"{desc.width} {desc.height} {desc.fps}", *map(str, desc.rows)]
    return "".join(f"{line}\n" for line in lines).encode("ascii")
