"""A boot animation archive as a list of entries, and the frames that a radio takes from it.

Source: Android Open Source Project, frameworks/base, cmds/bootanimation: entries are matched to rows by their folder,
compressed ones are skipped without a word, frames play in name order byte by byte, and everything in a part's folder
counts as a frame, but audio.wav and trim.txt on players that know them (`facts.trim`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from keyturn.radio import trim
from keyturn.radio.desc import Desc, Row
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.player_facts import Generation, PlayerFacts
from keyturn.shop.reasons import Reason

DESC = "desc.txt"
NOT_FRAMES = ("audio.wav", trim.NAME)
LONGEST_NAME = 255
"""Players skip entries whose name has more bytes (Android Open Source Project, ANIM_ENTRY_NAME_MAX)."""

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
    palette: bool = False

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
        return self.taken

    @property
    def taken(self) -> PlayedPart:
        """The part as the player runs it, without frames too. A count below 0 never plays."""
        row = self.row
        count = row.count if row.count >= 0 else 1
        frames = len(self.frames) if row.count >= 0 else 0
        pause = max(0, row.pause) if row.count >= 0 else 0
        return PlayedPart(row.type, count, pause, frames, row.fade)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a radio makes of an archive.

    `desc` None: nothing is shown. `reasons` refuse where the radio would not show what was meant. `shown`: something of
    it is seen. `delay_s` is the longest time in seconds for which the home screen can wait for it, infinite where it
    may never appear. `by_generation` holds the verdict for each generation where the radio may be of several.
    """

    desc: Desc | None
    parts: tuple[PartSeen, ...]
    reasons: tuple[Reason, ...]
    shown: bool
    delay_s: float
    by_generation: Mapping[Generation, Verdict] = field(default_factory=dict)


def frames_of(row: Row, entries: Iterable[Entry], facts: PlayerFacts) -> list[Entry]:
    """Return all that counts as a frame of the row, compressed or not, in playing order."""
    others = NOT_FRAMES if facts.trim else ()
    mine = (e for e in entries if e.folder == row.path and e.leaf and e.leaf not in others)
    return sorted(mine, key=lambda e: e.leaf.encode("utf-8", "surrogateescape"))


def is_read(entry: Entry) -> bool:
    """Whether a player reads the entry at all."""
    return not entry.compressed and len(entry.name.encode("utf-8", "surrogateescape")) <= LONGEST_NAME


def part_seen(row: Row, entries: Sequence[Entry], facts: PlayerFacts) -> PartSeen:
    """Return the row with those of its frames that the player reads."""
    return PartSeen(row, tuple(e.name for e in frames_of(row, entries, facts) if is_read(e)))
