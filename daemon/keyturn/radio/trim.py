"""trim.txt: where on the panel each cropped frame of a part belongs.

Source of the format: Android Open Source Project, frameworks/base, cmds/bootanimation (format description). There is
a line a frame, WxH+X+Y in pixels from the top left, in the order in which the frames play. The rest of the screen is
filled with the row's colour, black by default. How the player reads the file is from memory: it calls sscanf with
"%dx%d+%d+%d" on each line that ends in a newline, and stops at the first that does not fit. All frames from there on
are taken for whole ones.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

NAME = "trim.txt"

_LINE = re.compile(rb"\s*([+-]?\d{1,6})x\s*([+-]?\d{1,6})\+\s*([+-]?\d{1,6})\+\s*([+-]?\d{1,6})")


@dataclass(frozen=True, slots=True)
class Box:
    """`width` x `height` pixels whose top left corner lies `x` to the right and `y` down."""

    width: int
    height: int
    x: int
    y: int

    def __str__(self) -> str:
        return f"{self.width}x{self.height}+{self.x}+{self.y}"

    def within(self, size: tuple[int, int]) -> bool:
        """Tell whether the box lies within a panel of this `size` and holds at least one pixel."""
        inside = self.x + self.width <= size[0] and self.y + self.height <= size[1]
        return inside and min(self.x, self.y) >= 0 and min(self.width, self.height) > 0


def write(boxes: Iterable[Box]) -> bytes:
    """Return the whole file. The last line is ended too: the player does not see a line without its newline."""
    return "".join(f"{box}\n" for box in boxes).encode("ascii")


def parse(data: bytes) -> tuple[Box, ...]:
    """Return the boxes as far as the player understands the file; never raise."""
    boxes = []
    for line in data.split(b"\0", 1)[0].split(b"\n")[:-1]:
        found = _LINE.match(line)
        if found is None:
            break
        width, height, x, y = map(int, found.groups())
        boxes.append(Box(width, height, x, y))
    return tuple(boxes)


def boxes(data: bytes, frames: int, size: tuple[int, int]) -> tuple[Box, ...]:
    """Return a box for each of `frames` frames; those without a line of their own fill the whole panel of `size`."""
    read = parse(data)[:frames]
    return read + (Box(*size, 0, 0),) * (frames - len(read))
