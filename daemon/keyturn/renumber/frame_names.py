"""A picture's name taken apart: its digit groups, the texts around them, the marks of second copies. Pure: no disk."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class PictureName:
    """A name taken apart: `texts[i]` stands before digit group `groups[i]`, the last text after them all.

    `marked`: a desktop system's copy mark was taken off.
    """

    name: str
    stem: str
    folder: str
    marked: bool = False

    @property
    def groups(self) -> list[str]:
        return re.findall("[0-9]+", self.stem)

    @property
    def texts(self) -> tuple[str, ...]:
        return tuple(re.split("[0-9]+", self.stem.casefold()))


def parsed(name: str) -> PictureName:
    """Return the name taken apart. Its stem has letters composed (NFC) and digits of any script as 0 to 9."""
    folder, _, leaf = name.rpartition("/")
    dot = leaf.rfind(".")
    stem = unicodedata.normalize("NFC", leaf[:dot] if dot > 0 else leaf)
    return PictureName(name, re.sub(r"\d+", _plain_digits, stem), folder)


def _plain_digits(group: re.Match[str]) -> str:
    return "".join(str(unicodedata.decimal(digit)) for digit in group[0])


# -- copy marks -------------------------------------------------------------------------------------

_WORD = "(?:copy|kopie|copie|copia|kopia)"
_COPY_OF = re.compile(rf"{_WORD}(?: ?\([0-9]+\))? (?:of|von|de|di|van) (?P<base>.+)", re.IGNORECASE)
_COPY_AFTER = re.compile(
    rf"(?P<base>.+?)(?:[ _-]+{_WORD}(?:[ _]?\(?[0-9]+\)?)?| ?\((?:another |[0-9]+\w\w )?{_WORD}\))", re.IGNORECASE
)
_BRACKET = re.compile(r"(?P<base>.*?) ?\([0-9]+\)")
"""What desktop systems and browsers add to the name of a second copy. Common practice, no source."""


def without_marks(pictures: list[PictureName]) -> list[PictureName]:
    """Takes off copy marks, words first; a mark that is itself the numbering stays."""
    words = (_COPY_OF, _COPY_AFTER)
    for marks in (words, (_BRACKET,), words):
        while (fewer := _taken_off(pictures, marks)) != pictures:
            pictures = fewer
    return pictures


def _taken_off(pictures: list[PictureName], marks: Iterable[re.Pattern[str]]) -> list[PictureName]:
    bare = [_bare(picture, marks) for picture in pictures]
    if all(b is not p for b, p in zip(bare, pictures, strict=True)) and not _still_tell_apart(bare, pictures):
        return pictures
    return bare


def _bare(picture: PictureName, marks: Iterable[re.Pattern[str]]) -> PictureName:
    """Without its mark, where what is left still has a number; otherwise the number is in the mark."""
    for mark in marks:
        found = mark.fullmatch(picture.stem)
        if found and re.search("[0-9]", found["base"]):
            return replace(picture, stem=found["base"], marked=True)
    return picture


def _still_tell_apart(bare: list[PictureName], pictures: list[PictureName]) -> bool:
    """ "lamp2 (1)" to "lamp2 (48)": every name is marked, and only the marks tell the pictures apart."""
    return len({(p.folder, p.stem) for p in bare}) == len({(p.folder, p.stem) for p in pictures})
