"""Odd fonts: each table missing, empty or garbled, files cut short, letters that hold themselves, sizes beyond reason.

What is wanted follows from how each was made: of some the letters must be drawn, the others may be refused as well.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from fontTools.ttLib import TTFont
from fontTools.ttLib.tables._c_m_a_p import CmapSubtable
from fontTools.ttLib.tables._g_l_y_f import Glyph, GlyphComponent

import font_samples

LETTERS = {"F": 500, "e": 400, " ": 200}


@dataclass(frozen=True, slots=True)
class OddFont:
    """`made`: its letters must be drawn; else it may be refused with a reason, too."""

    name: str
    data: bytes
    made: bool = False


def every() -> Iterator[OddFont]:
    sound = font_samples.font(LETTERS)
    varying = font_samples.font(LETTERS, weights=(100, 400, 900))
    for flavor in (None, "woff", "woff2"):
        yield OddFont(f"whole-{flavor or 'ttf'}", font_samples.font(LETTERS, flavor=flavor), made=True)
        for number in range(1, 12):
            data = font_samples.font(LETTERS, flavor=flavor)
            yield OddFont(f"cut-{flavor or 'ttf'}-{number}", data[: len(data) * number // 12])
    for kind, data in (("plain", sound), ("varying", varying)):
        for tag, start, length in _tables(data):
            for how, garbled in (
                ("zeros", bytes(length)),
                ("ones", b"\xff" * length),
                ("turned", data[start : start + length][::-1]),
            ):
                yield OddFont(f"{kind}-{tag}-{how}", data[:start] + garbled + data[start + length :])
            yield OddFont(f"{kind}-{tag}-without", _changed(data, lambda font, tag=tag: font.__delitem__(tag)))
    yield from _changed_ones(sound, varying)


def _tables(data: bytes) -> Iterator[tuple[str, int, int]]:
    """Yield tag, offset and length of each table (OpenType 1.9, table directory)."""
    for number in range(int.from_bytes(data[4:6], "big")):
        entry = data[12 + 16 * number : 28 + 16 * number]
        yield entry[:4].decode("ascii").strip(), int.from_bytes(entry[8:12], "big"), int.from_bytes(entry[12:], "big")


def _changed(data: bytes, change: Callable[[Any], object]) -> bytes:
    font, file = TTFont(io.BytesIO(data), recalcBBoxes=False), io.BytesIO()
    change(font)
    font.save(file)
    return file.getvalue()


def _changed_ones(sound: bytes, varying: bytes) -> Iterator[OddFont]:
    for units in (16, 64, 16384, 65535):
        yield OddFont(
            f"units-{units}", _changed(sound, lambda font, units=units: setattr(font["head"], "unitsPerEm", units))
        )
    for ascent, descent in ((0, 0), (-800, 200), (32767, -32768), (1, 0)):

        def metrics(font: Any, ascent: int = ascent, descent: int = descent) -> None:
            font["hhea"].ascent, font["hhea"].descent = ascent, descent

        yield OddFont(f"metrics-{ascent}-{descent}", _changed(sound, metrics))
    yield OddFont("advance-huge", _changed(sound, lambda font: font["hmtx"].metrics.update(u0046=(65535, 0))))
    yield OddFont("point-far", _changed(sound, _far))
    yield OddFont("letter-in-itself", _changed(sound, _in_itself))
    yield OddFont(
        "character-map-13",
        _changed(sound, lambda font: _mapped(font, 13, {0x20: "u0020", 0x46: "u0046", 0x65: "u0046"})),
        made=True,
    )
    yield OddFont(
        "character-map-6",
        _changed(sound, lambda font: _mapped(font, 6, {0x20: "u0020", 0x46: "u0046", 0x65: "u0065"})),
        made=True,
    )
    yield OddFont("character-map-beyond-glyphs", _changed(sound, lambda font: setattr(font["maxp"], "numGlyphs", 1)))
    yield OddFont("axes-turned-round", _changed(varying, _axis_turned))


def _far(font: Any) -> None:
    font["glyf"]["u0046"].coordinates[1] = (20, 32767)


def _in_itself(font: Any) -> None:
    glyph, part = Glyph(), GlyphComponent()
    part.glyphName, part.x, part.y, part.flags = "u0046", 0, 0, 0x1006
    glyph.numberOfContours, glyph.components = -1, [part]
    glyph.xMin = glyph.yMin = glyph.xMax = glyph.yMax = 0
    font["glyf"].glyphs["u0046"] = glyph


def _mapped(font: Any, kind: int, codes: dict[int, str]) -> None:
    table = CmapSubtable.newSubtable(kind)
    table.platformID, table.platEncID, table.language, table.cmap = (0, 4, 0, codes) if kind == 13 else (0, 3, 0, codes)
    font["cmap"].tables = [table]


def _axis_turned(font: Any) -> None:
    axis = font["fvar"].axes[0]
    axis.minValue, axis.maxValue = 900, 100
