"""Words laid out: which font each letter is taken from, where lines break, and where each run of letters stands.

Lengths are in ems, the size of the letters. Clusters of letters and the places where a line may break are Unicode's
(Standard Annexes 29 and 14, by uniseg); a run, which is of one font and one direction, is shaped by Pillow.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Literal

from PIL import ImageFont

from keyturn.flatten import letter_order
from keyturn.flatten.fonts import FontFile, Typeface, engine
from keyturn.manifest.lettering import Align

MEASURE_PX = 512
"""Words are measured in letters of this size, in pixels, so that hinting changes a width by less than a thousandth."""

SOFT_HYPHEN = "\u00ad"


@dataclass(frozen=True, slots=True)
class Run:
    """Letters of one font and direction. `x` is their left end and `y` the baseline, in ems from the text's top left.

    `font` is the index of the font in `SetText.fonts`.
    """

    text: str
    font: int
    rtl: bool
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class SetText:
    """A text laid out, in ems. `line` is the height of a line in its first font, from ascender to descender.

    Ink reaches beyond `width` and `height` by `overhang` at most, on any side; `lettering.inked` finds that.
    """

    runs: tuple[Run, ...]
    fonts: tuple[FontFile, ...]
    weight: int | None
    width: float
    height: float
    line: float
    overhang: float = 0.0

    @property
    def paths(self) -> tuple[Path, ...]:
        return tuple(file.path for file in self.fonts if file.path)


@dataclass(frozen=True, slots=True, eq=False)
class Faces:
    """The fonts that letters are taken from, the first that has them, in one weight."""

    files: tuple[FontFile, ...]
    faces: tuple[Typeface, ...]
    weight: int | None
    _advances: dict[tuple[int, str, bool], float] = field(default_factory=dict)
    _fonts: dict[int, ImageFont.FreeTypeFont] = field(default_factory=dict)

    def of_each(self, text: str) -> list[int | None]:
        """Return for each letter the index of its font; None where no font has the cluster that it belongs to."""
        if all(self.faces[0].has(letter) for letter in text if _is_seen(letter)) and self._blanks(text) == 0:
            return [0] * len(text)
        from uniseg.graphemecluster import grapheme_clusters  # type: ignore[import-untyped]

        found: list[int | None] = []
        for cluster in grapheme_clusters(text):
            shown = [letter for letter in cluster if _is_seen(letter)]
            if not shown:
                before = found[-1] if found else 0
                fits = before is None or self.faces[before].has_blank()
                found += [before if fits else self._blanks(cluster)] * len(cluster)
                continue
            every = (number for number, face in enumerate(self.faces) if all(map(face.has, shown)))
            found += [next(every, None)] * len(cluster)
        return found

    def _blanks(self, text: str) -> int:
        """Return the first font that has a blank, where the text has any; else 0."""
        if not _has_blanks(text):
            return 0
        return next((number for number, face in enumerate(self.faces) if face.has_blank()), 0)

    def missing(self, text: str) -> list[str]:
        """Return the letters of the text that no font has, or that no one font has together with their marks."""
        alone = dict.fromkeys(
            letter for letter in text if _is_seen(letter) and not any(face.has(letter) for face in self.faces)
        )
        if _has_blanks(text) and not any(face.has_blank() for face in self.faces):
            alone[" "] = None
        torn = (letter for letter, font in zip(text, self.of_each(text), strict=True) if font is None)
        return list(alone) or [letter for letter in dict.fromkeys(torn) if _is_seen(letter)]

    def advance(self, font: int, text: str, rtl: bool) -> float:
        """Return how far a run advances, in ems."""
        key = font, text, rtl
        if key not in self._advances:
            self._advances[key] = self.sized(font).getlength(text, direction=direction(rtl)) / MEASURE_PX
        return self._advances[key]

    def sized(self, font: int) -> ImageFont.FreeTypeFont:
        if font not in self._fonts:
            self._fonts[font] = self.faces[font].sized(MEASURE_PX, self.weight, engine())
        return self._fonts[font]

    def metrics(self, font: int) -> tuple[float, float]:
        """Return the ascent and the descent of a line, in ems."""
        ascent, descent = self.sized(font).getmetrics()
        return ascent / MEASURE_PX, descent / MEASURE_PX

    def capital(self) -> float:
        """Return the height of a capital letter of the first font in ems; of a font without any, what is usual."""
        return self.faces[0].capital()


def direction(rtl: bool) -> Literal["rtl", "ltr"] | None:
    """Return a run's direction as Pillow is told it; None without Raqm, where it takes none."""
    if engine() != ImageFont.Layout.RAQM:
        return None
    return "rtl" if rtl else "ltr"


def _has_blanks(text: str) -> bool:
    return any(letter.isspace() for letter in text if letter != "\n")


def _is_seen(letter: str) -> bool:
    return unicodedata.category(letter) not in ("Zs", "Cf", "Cc") and not "\ufe00" <= letter <= "\ufe0f"


@dataclass(frozen=True, slots=True)
class _Paragraph:
    """A text between two breaks by hand, with the font and the level of each of its letters."""

    text: str
    fonts: tuple[int, ...]
    levels: tuple[int, ...]

    def runs(self, start: int, end: int) -> Iterator[tuple[str, int, int]]:
        """Yield text, font and level of each run of the line from `start` to `end`, in the order of reading."""
        while start < end and self.text[start].isspace():
            start += 1
        while start < end and self.text[end - 1].isspace():
            end -= 1
        hyphen = start < end and self.text[end - 1] == SOFT_HYPHEN
        for (font, level), places in groupby(range(start, end), lambda at: (self.fonts[at], self.levels[at])):
            text = "".join(self.text[at] for at in places).replace(SOFT_HYPHEN, "")
            if shown := letter_order.without_unseen(text):
                yield shown, font, level
        if hyphen:
            yield "-", self.fonts[end - 1], self.levels[end - 1]


Line = list[tuple[str, int, int]]


def laid_out(text: str, faces: Faces, *, align: Align, most: float | None = None) -> SetText:
    """Return the text laid out, in lines of at most `most` ems where no word alone is wider.

    `faces` must have every letter. Raise OSError where the order of letters needs FriBidi and it is not there.
    """
    lines = [line for words in text.split("\n") for line in _lines(_paragraph(words, faces), faces, most)]
    used = sorted({font for line in lines for _, font, _ in line} | {0})
    every = [faces.metrics(font) for font in used]
    ascent, descent = (max(lengths) for lengths in zip(*every, strict=True))
    widths = [_width(line, faces) for line in lines]
    width = max(widths)
    share = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
    runs: list[Run] = []
    for number, (line, wide) in enumerate(zip(lines, widths, strict=True)):
        x, y = share * (width - wide), number * (ascent + descent) + ascent
        for place in letter_order.runs_as_seen([level for _, _, level in line]):
            letters, font, level = line[place]
            runs.append(Run(letters, used.index(font), level % 2 == 1, x, y))
            x += faces.advance(font, letters, level % 2 == 1)
    height = len(lines) * (ascent + descent)
    files = tuple(faces.files[font] for font in used)
    return SetText(tuple(runs), files, faces.weight, width, height, sum(faces.metrics(0)))


def _paragraph(text: str, faces: Faces) -> _Paragraph:
    return _Paragraph(text, tuple(font or 0 for font in faces.of_each(text)), letter_order.levels(text))


def _width(line: Line, faces: Faces) -> float:
    return sum(faces.advance(font, text, level % 2 == 1) for text, font, level in line)


def _lines(words: _Paragraph, faces: Faces, most: float | None) -> Iterator[Line]:
    """Yield the lines of a paragraph. An empty one is a line, too."""
    start, end = 0, 0
    for length in _unit_lengths(words.text) if most is not None else ():
        line = list(words.runs(start, end + length))
        if end > start and most is not None and _width(line, faces) > most + 1e-6:
            yield list(words.runs(start, end))
            start = end
        end += length
    yield list(words.runs(start, len(words.text)))


@lru_cache(maxsize=32)
def _unit_lengths(text: str) -> tuple[int, ...]:
    """Return the lengths of the pieces between which a line may break."""
    from uniseg.linebreak import line_break_units  # type: ignore[import-untyped]

    return tuple(map(len, line_break_units(text)))
