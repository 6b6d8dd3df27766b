"""Fonts built on the spot: each letter is a box of known width, so that widths and places can be done in the head."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

UPEM = 1000
ASCENT, DESCENT = 800, 200
HIGH = 700
"""Of every letter's box, in units of 1000 an em; it stands on the baseline and fills its advance but for `GAP`."""
GAP = 20
"""Beside a letter's box, on each side."""


def _box(width: int, high: int = HIGH) -> Any:
    pen = TTGlyphPen(None)
    for number, point in enumerate([(GAP, 0), (GAP, high), (width - GAP, high), (width - GAP, 0)]):
        (pen.lineTo if number else pen.moveTo)(point)
    pen.closePath()
    return pen.glyph()


def font(widths: Mapping[str, int], *, weights: tuple[int, int, int] | None = None, flavor: str | None = None) -> bytes:
    """Return a font with a box for each letter of `widths` (units of 1000 an em); a blank has no box.

    With `weights` (least, usual, most) it is variable: at the most, boxes reach 300 units higher. A missing letter is a
    box 1000 high.
    """
    names = {letter: f"u{ord(letter):04X}" for letter in widths}
    order = [".notdef", *names.values()]
    builder = FontBuilder(UPEM, isTTF=True)
    builder.setupGlyphOrder(order)
    builder.setupCharacterMap({ord(letter): name for letter, name in names.items()})
    shapes = {names[letter]: TTGlyphPen(None).glyph() if letter.isspace() else _box(w) for letter, w in widths.items()}
    builder.setupGlyf({".notdef": _box(500, 1000)} | shapes)
    advances = {".notdef": 500} | {names[letter]: width for letter, width in widths.items()}
    builder.setupHorizontalMetrics({name: (width, GAP) for name, width in advances.items()})
    builder.setupHorizontalHeader(ascent=ASCENT, descent=-DESCENT)
    builder.setupNameTable({"familyName": "Fern Boxes", "styleName": "Regular"})
    builder.setupOS2(sTypoAscender=ASCENT, sTypoDescender=-DESCENT, usWinAscent=ASCENT, usWinDescent=DESCENT)
    builder.setupPost()
    if weights:
        _vary(builder, weights, [name for letter, name in names.items() if not letter.isspace()])
    return _saved(builder.font, flavor)


def _vary(builder: FontBuilder, weights: tuple[int, int, int], names: list[str]) -> None:
    from fontTools.ttLib.tables.TupleVariation import TupleVariation

    builder.setupFvar([("wght", *weights, "Weight")], [])
    higher = [(0, 0), (0, 300), (0, 300), (0, 0)] + [(0, 0)] * 4
    builder.setupGvar({name: [TupleVariation({"wght": (0.0, 1.0, 1.0)}, higher)] for name in names})


def _saved(made: TTFont, flavor: str | None) -> bytes:
    made.flavor = flavor
    file = io.BytesIO()
    made.save(file)
    return file.getvalue()
