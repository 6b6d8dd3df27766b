"""Draw what a camera reads on a stick: finder marks, four copies of the code, and the strip of fine steps."""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image, ImageDraw

from keyturn.calibrate import film_code
from keyturn.calibrate.code_layout import MODULES, QUIET, STRIP_STEPS, CodeLayout
from keyturn.calibrate.film_code import Code

Colour = tuple[int, int, int]

BRIGHT, DARK = (247, 243, 231), (16, 24, 33)
"""Colours that a 16-bit panel shows unchanged, since RGB565 holds each of them exactly."""

STEPS: dict[str, Colour] = {"A": (96, 96, 96), "F": (103, 99, 103), "S": (104, 100, 104)}
"""A and F are one colour in RGB565, which cuts off the last 3, 2 and 3 bits; S is the next one."""


def ground(picture: Image.Image, layout: CodeLayout) -> None:
    """Draw what is the same on all pictures: the marks and the strip."""
    draw = ImageDraw.Draw(picture)
    module = layout.module_px
    for x, y in layout.marks:
        for modules, colour in ((MODULES + 2 * QUIET, DARK), (5, BRIGHT), (3, DARK), (1, BRIGHT)):
            half = modules * module / 2
            _fill(draw, (x - half, y - half, x + half, y + half), colour)
    for step, box in zip(STRIP_STEPS, layout.strip, strict=True):
        _fill(draw, box, STEPS[step])


def cells(picture: Image.Image, layout: CodeLayout, code: Code) -> None:
    """Draw the four copies of the code."""
    draw = ImageDraw.Draw(picture)
    first = layout.first_bright(film_code.bits(code))
    for copy, boxes in enumerate(layout.cells):
        for pair, is_first in zip(boxes, first[copy], strict=True):
            for box, colour in zip(pair, (BRIGHT, DARK) if is_first else (DARK, BRIGHT), strict=True):
                _fill(draw, box, colour)


def _fill(draw: ImageDraw.ImageDraw, box: Sequence[float], colour: Colour) -> None:
    left, top, right, foot = (round(float(edge)) for edge in box)
    draw.rectangle((left, top, max(left, right - 1), max(top, foot - 1)), colour)
