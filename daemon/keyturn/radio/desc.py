"""desc.txt: the command file of a boot animation, written and read as the reference player does.

Source of the format: Android Open Source Project, frameworks/base, cmds/bootanimation (format description).
`desc_lines` has how the player reads a line, and the traps of single lines; here are those of the file as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass

from keyturn.radio import desc_lines
from keyturn.radio.desc_lines import Fault
from keyturn.shop.player_facts import PartType, PlayerFacts

__all__ = ["TRUSTED_PLAYS", "Desc", "Fault", "PartType", "Reading", "Row", "parse", "write"]

TRUSTED_PLAYS = 10
"""In-dash radios are not trusted with more plays of a part. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Row:
    """One part row: TYPE COUNT PAUSE PATH [#RRGGBB]. With a `count` of 0 it repeats until the radio has booted.

    `pause` is as written in the file: frames by the standard, seconds where a radio's profile says so. `fade` is the
    number of frames for which an `f` row plays on after the boot.
    """

    type: PartType
    count: int
    pause: int
    path: str
    colour: str | None = None
    fade: int = 0

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


@dataclass(frozen=True, slots=True)
class Reading:
    """What the reference player takes from a file, and the traps in it.

    `desc` is None where no size line can be used: then nothing at all is shown.
    """

    desc: Desc | None
    faults: tuple[Fault, ...]


def write(desc: Desc) -> bytes:
    """Return the file in plain ASCII, with LF endings and without a byte-order mark.

    The last line is ended too: the player drops a row that is not.
    """
    lines = [f"{desc.width} {desc.height} {desc.fps}", *map(str, desc.rows)]
    return "".join(f"{line}\n" for line in lines).encode("ascii")


def parse(data: bytes, *, trusted_plays: int = TRUSTED_PLAYS, facts: PlayerFacts | None = None) -> Reading:
    """Read `data` as the reference player does; never raise, whatever the bytes.

    `facts` are those of one player; without them every row is read that some player reads.
    """
    lines = desc_lines.lines(data, facts)
    faults = [*desc_lines.file_faults(data), *(fault for line in lines for fault in line.faults)]
    faults += _size_faults(lines)
    rows = [(line.number, _row(line.row, facts)) for line in lines if line.row is not None]
    if not rows:
        faults.append(Fault("rows-missing", None, "it has no part row that can be read", "add a row a part"))
    faults += _endless_faults(rows) + _count_faults(rows, trusted_plays)
    sizes = [line.size for line in lines if line.size is not None]
    desc = Desc(*sizes[-1], tuple(row for _, row in rows)) if sizes and min(sizes[-1]) > 0 else None
    return Reading(desc, tuple(sorted(faults, key=lambda fault: fault.line or 0)))


def _row(raw: desc_lines.RawRow, facts: PlayerFacts | None) -> Row:
    known = facts.part_types if facts else ("p", "c", "f")
    kind: PartType = next((kind for kind in known if kind == raw.type), "p")
    return Row(kind, raw.count, raw.pause, raw.path, raw.colour, raw.fade)


def _size_faults(lines: list[desc_lines.DescLine]) -> list[Fault]:
    sized = [line for line in lines if line.size is not None]
    mend = "let the first line say WIDTH HEIGHT FPS, in whole numbers above 0"
    if not sized:
        return [Fault("size-missing", None, "no line gives width, height and fps: nothing is shown", mend)]
    faults = []
    first = next(line for line in lines if not line.blank)
    if first is not sized[0]:
        faults.append(Fault("size-not-first", sized[0].number, "the size does not stand on line 1", mend))
    if len(sized) > 1:
        what = f"the size is given {len(sized)} times; the last one counts"
        faults.append(Fault("size-doubled", sized[-1].number, what, "keep one"))
    if min(sized[-1].size or (0,)) <= 0:
        what = "width, height or fps is not above 0: nothing is shown, and the player may crash"
        faults.append(Fault("size-odd", sized[-1].number, what, mend))
    return faults


def _endless_faults(rows: list[tuple[int, Row]]) -> list[Fault]:
    endless = next((place for place, (_, row) in enumerate(rows) if row.count == 0), len(rows))
    return [
        Fault(
            "row-unreachable",
            number,
            f"{row.path} comes after a row that repeats until the radio has booted: it is never reached",
            "put the endless row last",
        )
        if row.type != "c"
        else Fault(
            "row-after-boot",
            number,
            f"{row.path} comes after an endless row and must finish: it plays when the radio has booted, "
            "and delays the home screen",
            "take the row out, or put it before the endless row",
        )
        for number, row in rows[endless + 1 :]
    ]


def _count_faults(rows: list[tuple[int, Row]], trusted_plays: int) -> list[Fault]:
    faults = []
    for number, row in rows:
        if row.count > trusted_plays:
            what = f"{row.count} plays: counts above {trusted_plays} are not trusted on in-dash radios"
            mend = f"play it at most {trusted_plays} times, or write 0 to repeat until booted"
            faults.append(Fault("count-not-trusted", number, what, mend))
        if row.count < 0:
            what = f"a count of {row.count}: the part never plays"
            faults.append(Fault("count-negative", number, what, "write the number of plays"))
        if row.pause < 0:
            what = f"a pause of {row.pause}: the player would wait for over an hour"
            faults.append(Fault("pause-negative", number, what, "write 0 or more frames"))
    return faults
