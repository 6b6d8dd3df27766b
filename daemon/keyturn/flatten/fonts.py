"""Font files: input that is not trusted, read in a worker and within limits.

FreeType (in Pillow) reads the letters, fontTools the axes of variable fonts. Which letters a font has is asked of
FreeType letter by letter, so that the answer is what would be drawn.
"""

from __future__ import annotations

import io
import logging
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageFont, features

from keyturn.shop.file_identity import FileIdentity
from keyturn.shop.reasons import Reason, Refused, refuse
from keyturn.shop.rulebook import Intake

_STARTS = (b"\0\1\0\0", b"true", b"OTTO", b"wOF2", b"wOFF")
_COLLECTIONS = (b"ttcf",)

PROBE_PX = 48
"""Letters are looked at in this size, in pixels an em."""

FAILS = (OSError, ValueError, OverflowError, Image.DecompressionBombError)
"""What Pillow raises where FreeType or Raqm find a letter broken, or far too large."""

CAPITAL_PX, USUAL_CAPITAL = 512, 0.7
"""A capital letter is measured in this size, in pixels an em; most are so high, in ems. Common practice, no source."""

REGULAR = 400.0
"""The weight of variable fonts where job.toml says none (OpenType 1.9, OS/2 usWeightClass: 400 is normal)."""

NO_LETTER = "\uffff"
"""No character (Unicode 16, 23.7): no font has a shape for it."""

Axes = tuple[tuple[str, float, float, float], ...]
"""Of each axis of a variable font: tag, least, usual and greatest value."""


@dataclass(frozen=True, slots=True)
class FontFile:
    """A font file at `path`, without one the typeface that comes with Pillow.

    `name` is what reasons call it: its name in the drop, or the shop's; empty for Keyturn's own.
    """

    path: Path | None = None
    name: str = ""

    @property
    def version(self) -> FileIdentity | None:
        """What tells the file from a later one of the same name."""
        return FileIdentity.of(self.path.stat()) if self.path else None


BUILT_IN = FontFile()


@dataclass(slots=True, eq=False)
class Typeface:
    """An opened font."""

    data: bytes
    axes: Axes
    _shapes: dict[str, bool] = field(default_factory=dict)
    _masks: dict[str, bytes] = field(default_factory=dict)
    _probe: ImageFont.FreeTypeFont | None = None
    _capital: float = 0.0

    def has(self, letter: str) -> bool:
        """Whether the font has a shape for the letter, or for the letters and marks that it is composed of."""
        if letter not in self._shapes:
            parts = unicodedata.normalize("NFD", letter)
            self._shapes[letter] = self._drawn(letter) or (parts != letter and all(map(self._drawn, parts)))
        return self._shapes[letter]

    def has_blank(self) -> bool:
        """Whether the font leaves a blank where one is, and draws no sign of a missing letter."""
        return not any(self._mask(" "))

    def _drawn(self, letter: str) -> bool:
        """Whether FreeType draws more for the letter than for one that no font has."""
        shape = self._mask(letter)
        return shape != self._mask(NO_LETTER) and any(shape)

    def _mask(self, letter: str) -> bytes:
        """Return the letter's picture, empty where FreeType finds its outline broken."""
        self._probe = self._probe or self.sized(PROBE_PX, None, ImageFont.Layout.BASIC)
        if letter not in self._masks:
            try:
                self._masks[letter] = bytes(self._probe.getmask(letter, "L"))
            except FAILS:
                self._masks[letter] = b""
        return self._masks[letter]

    def capital(self) -> float:
        """Return the height of a capital letter in ems; of a font without any, what is usual."""
        if not self._capital:
            high = -self.sized(CAPITAL_PX, None, ImageFont.Layout.BASIC).getbbox("H", anchor="ls")[1]
            self._capital = high / CAPITAL_PX if self.has("H") and high > 0 else USUAL_CAPITAL
        return self._capital

    def weights(self) -> tuple[float, float] | None:
        """Return the lightest and the boldest weight; None where the font has one alone."""
        return next(((least, most) for tag, least, _, most in self.axes if tag == "wght" and most > least), None)

    def sized(self, px: float, weight: float | None, engine: ImageFont.Layout) -> ImageFont.FreeTypeFont:
        """Return the font at `px` pixels an em. Raise OSError or ValueError where FreeType cannot."""
        font = ImageFont.truetype(io.BytesIO(self.data), px, layout_engine=engine)
        if self.axes:
            wanted = {"wght": REGULAR if weight is None else weight}
            font.set_variation_by_axes([min(max(wanted.get(tag, d), a), b) for tag, a, d, b in self.axes])
        return font


@contextmanager
def letters_of(file: FontFile) -> Iterator[None]:
    """Refuse the font where FreeType or Raqm find a letter broken, or far too large. Faults of the disk go through."""
    try:
        yield
    except FAILS as error:
        if isinstance(error, OSError) and error.errno:
            raise
        what, mend = "is a font of which these words cannot be drawn", "export or download it anew, or take another"
        raise Refused([refuse("font-broken", what, mend, file=file.name or None)]) from error


def shapes_any_script() -> bool:
    """Whether Pillow has Raqm, with HarfBuzz and FriBidi, which shape and order joined and right-to-left scripts."""
    return bool(features.check("raqm")) and bool(features.check("fribidi"))


def engine() -> ImageFont.Layout:
    return ImageFont.Layout.RAQM if shapes_any_script() else ImageFont.Layout.BASIC


@lru_cache(maxsize=6)
def opened(file: FontFile, version: FileIdentity | None, intake: Intake) -> Typeface:
    """Return the font. `version` is part of the cache's key.

    Raise `Refused` where it cannot be read, OSError where the shop's disk fails.
    """
    if file.path is None:
        built_in = ImageFont.load_default(PROBE_PX)
        assert isinstance(built_in, ImageFont.FreeTypeFont)  # Pillow's wheels carry FreeType
        return Typeface(built_in.font_bytes, ())
    most = intake.words.font_mib
    if file.path.stat().st_size > most * 2**20:
        what, mend = f"is a font of more than {most:g} MiB", "send one with fewer letters, or make it smaller"
        raise Refused([refuse("font-too-large", what, mend, file=file.name)])
    data = file.path.read_bytes()
    if not data.startswith(_STARTS):
        raise Refused([_of_another_kind(data, file.name)])
    try:
        face = Typeface(data, _axes(data))
        _try_out(face)
    except Exception as error:  # fontTools and FreeType fail on broken tables in a dozen ways
        if isinstance(error, MemoryError):
            raise
        raise Refused([_broken(file.name)]) from error
    return face


def _of_another_kind(data: bytes, name: str) -> Reason:
    if data.startswith(_COLLECTIONS):
        what, mend = "is a collection of fonts (TTC)", "save the one that you mean as TTF or OTF"
    else:
        what, mend = "is no font that can be read", "send it as TTF, OTF or WOFF2"
    return refuse("font-kind", what, mend, file=name)


def _broken(name: str) -> Reason:
    return refuse("font-broken", "is a font that cannot be read", "export or download it anew", file=name)


def _axes(data: bytes) -> Axes:
    """Return the axes of a variable font; none where it is a plain one."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    logging.getLogger("fontTools").setLevel(logging.CRITICAL)
    with TTFont(io.BytesIO(data), lazy=True) as font:
        if "fvar" not in font:
            return ()
        axes = [(a.axisTag, a.minValue, a.defaultValue, a.maxValue) for a in font["fvar"].axes]
    return tuple((str(tag), float(least), float(usual), float(most)) for tag, least, usual, most in axes)


def _try_out(face: Typeface) -> None:
    """Draw a letter and a missing one. Raise where the font has no outlines, or axes that FreeType does not know."""
    font = face.sized(PROBE_PX, None, ImageFont.Layout.BASIC)
    if face.axes and len(font.get_variation_axes()) != len(face.axes):
        raise ValueError("the axes differ")
    ascent, descent = font.getmetrics()
    if ascent + descent <= 0:
        raise ValueError("a line has no height")
    font.getmask(f"A{NO_LETTER}", "L")
