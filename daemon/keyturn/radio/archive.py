"""A boot animation archive as a list of entries, and the frames that a radio takes from it.

Source: Android Open Source Project, frameworks/base, cmds/bootanimation: entries are matched to rows by their folder,
compressed ones are skipped without a word, frames play in name order byte by byte, and everything in a part's folder
but audio.wav and trim.txt counts as a frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from keyturn.radio import trim
from keyturn.radio.desc import Desc, Row
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.reasons import Reason

DESC = "desc.txt"
NOT_FRAMES = ("audio.wav", trim.NAME)

Trims = Mapping[str, bytes]
"""The text of each trim.txt that is not compressed, by its name in the archive."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the archive.

    Pictures have their size in pixels and `bits` a channel; for others all that follows is None or False.
    """

    name: str
    compressed: bool
    width: int | None = None
    height: int | None = None
    interlaced: bool = False
    alpha: bool = False
    bits: int | None = None
    kind: Literal["png", "jpeg", "other"] = "other"

    @property
    def folder(self) -> str:
        return self.name.rpartition("/")[0]

    @property
    def leaf(self) -> str:
        """The name without its folder; empty for a folder's own entry."""
        return self.name.rpartition("/")[2]


@dataclass(frozen=True, slots=True)
class PartSeen:
    """A row and the names of the frames it would show, in playing order."""

    row: Row
    frames: tuple[str, ...]

    @property
    def played(self) -> PlayedPart | None:
        """The part for a timeline; None where the row shows nothing."""
        row = self.row
        if not self.frames or row.count < 0 or row.pause < 0:
            return None
        return PlayedPart(row.type, row.count, row.pause, len(self.frames))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a radio makes of an archive.

    `desc` None: nothing is shown. `reasons` refuse where the radio would not show what was meant.
    """

    desc: Desc | None
    parts: tuple[PartSeen, ...]
    reasons: tuple[Reason, ...]


def frames_of(row: Row, entries: Iterable[Entry]) -> list[Entry]:
    """Return all that counts as a frame of the row, compressed or not, in playing order."""
    mine = (e for e in entries if e.folder == row.path and e.leaf and e.leaf not in NOT_FRAMES)
    return sorted(mine, key=lambda e: e.leaf.encode("utf-8", "surrogateescape"))


def part_seen(row: Row, entries: Sequence[Entry]) -> PartSeen:
    """Return the row with those of its frames that the player reads: the ones that are not compressed."""
    return PartSeen(row, tuple(e.name for e in frames_of(row, entries) if not e.compressed))
