"""What a radio would make of a boot animation archive, from the archive's list and its pictures' headers.

Source: Android Open Source Project, frameworks/base, cmds/bootanimation: entries are matched to rows by their
folder, compressed ones are skipped without a word, frames play in name order byte by byte, and everything
in a part's folder but audio.wav and trim.txt counts as a frame.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from keyturn.radio import memory, trim
from keyturn.radio.desc import TRUSTED_PLAYS, Desc, Row, parse
from keyturn.radio.desc_lines import Fault
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.natural_order import natural_key
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, gathered, note, refuse

DESC = "desc.txt"
NOT_FRAMES = ("audio.wav", trim.NAME)
HARMLESS = frozenset(
    [
        "line-endings",
        "size-not-first",
        "size-doubled",
        "size-rest",
        "row-rest",
        "row-after-boot",
        "colour-odd",
        "type-unknown",
        "path-not-ascii",
    ]
)
"""Faults of desc.txt with which the reference player still shows what was meant, or nearly so."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the archive. Sizes in pixels, `bits` a channel; all None or False but for pictures."""

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
        return self.name.rpartition("/")[2]


@dataclass(frozen=True, slots=True)
class PartSeen:
    """A row and the names of the frames it would show, in playing order."""

    row: Row
    frames: tuple[str, ...]

    @property
    def played(self) -> PlayedPart | None:
        """For a timeline; None where the row shows nothing."""
        row = self.row
        if not self.frames or row.count < 0 or row.pause < 0:
            return None
        return PlayedPart(row.type, row.count, row.pause, len(self.frames))


@dataclass(frozen=True, slots=True)
class Verdict:
    """`desc` None: nothing is shown. `reasons`: refusals where the radio would not show what was meant."""

    desc: Desc | None
    parts: tuple[PartSeen, ...]
    reasons: tuple[Reason, ...]


def look(
    entries: Sequence[Entry],
    desc_bytes: bytes | None,
    radio: Radio | None = None,
    trims: Mapping[str, bytes] | None = None,
) -> Verdict:
    """What would be shown of `entries`; `desc_bytes` is the text of desc.txt at the root, None without one.

    `trims`: the text of each trim.txt that is not compressed, by its name.
    """
    reasons = [*_desc_found(entries, desc_bytes)]
    reading = parse(desc_bytes or b"", trusted_plays=radio.firmware.max_plays if radio else TRUSTED_PLAYS)
    if desc_bytes is not None:
        reasons += map(_reason, reading.faults)
    rows = reading.desc.rows if reading.desc else ()
    parts = tuple(_part(row, entries) for row in rows)
    for part in parts:
        reasons += _part_reasons(part, entries, reading.desc, radio, (trims or {}).get(f"{part.row.path}/{trim.NAME}"))
    reasons += [*_doubled(entries), *_unused(entries, rows)]
    if radio and reading.desc:
        reasons += _radio_reasons(reading.desc, parts, radio, _cropped(parts, entries, trims or {}))
    return Verdict(reading.desc, parts, gathered(dict.fromkeys(reasons)))


def _reason(fault: Fault) -> Reason:
    where = f"line {fault.line}: " if fault.line else ""
    finding = note if fault.code in HARMLESS else refuse
    return finding(fault.code, where + fault.what, fault.mend, file=DESC)


# -- the archive -------------------------------------------------------------------------------------


def _desc_found(entries: Sequence[Entry], desc_bytes: bytes | None) -> Iterator[Reason]:
    at_root = next((e for e in entries if e.name == DESC), None)
    if at_root and at_root.compressed:
        what = "is compressed: the reference player cannot read it and shows nothing"
        yield refuse("desc-compressed", what, "zip with compression off (store)", file=DESC)
    if desc_bytes is not None:
        return
    nested = next((e for e in entries if e.leaf == DESC and e.folder), None)
    near = next((e for e in entries if e.leaf.lower() in ("desc", DESC, "desc.txt.txt")), None)
    if nested:
        what = f"lies in the folder {nested.folder}: the folder was zipped instead of what is in it"
        yield refuse("desc-nested", what, f"zip what is inside {nested.folder}", file=nested.name)
    elif near:
        yield refuse("desc-misnamed", "is not the name the radio looks for", f"name it {DESC}", file=near.name)
    else:
        yield refuse("desc-missing", f"there is no {DESC} at the archive's root", f"add {DESC}")


def _doubled(entries: Iterable[Entry]) -> Iterator[Reason]:
    for name, times in Counter(e.name for e in entries).items():
        if times > 1:
            yield refuse("entry-doubled", f"is in the archive {times} times", "zip it anew", file=name)


def _unused(entries: Iterable[Entry], rows: Iterable[Row]) -> Iterator[Reason]:
    folders = {row.path for row in rows}
    for entry in entries:
        if entry.leaf and entry.name != DESC and entry.folder not in folders:
            yield note("entry-unused", "belongs to no row and is never shown", file=entry.name)


# -- a part ------------------------------------------------------------------------------------------


def _frames(row: Row, entries: Iterable[Entry]) -> list[Entry]:
    """All that counts as a frame of the row, compressed or not, in playing order."""
    mine = (e for e in entries if e.folder == row.path and e.leaf and e.leaf not in NOT_FRAMES)
    return sorted(mine, key=lambda e: e.leaf.encode("utf-8", "surrogateescape"))


def _part(row: Row, entries: Iterable[Entry]) -> PartSeen:
    return PartSeen(row, tuple(e.name for e in _frames(row, entries) if not e.compressed))


def _part_reasons(
    part: PartSeen, entries: Sequence[Entry], desc: Desc | None, radio: Radio | None, boxes: bytes | None
) -> Iterator[Reason]:
    frames = _frames(part.row, entries)
    file = next((e for e in entries if e.name == f"{part.row.path}/{trim.NAME}"), None)
    if not part.frames:
        yield _empty(part.row, frames, entries)
    if file and radio and not radio.firmware.trim:
        what = f"{radio.name} does not know trimmed frames and shows them whole, in the wrong place"
        yield refuse("trim-not-known", what, "give it frames of full size", file=file.name)
    if file and file.compressed:
        what = "is compressed: the reference player skips it and shows the frames whole"
        yield refuse("trim-compressed", what, "zip with compression off (store)", file=file.name)
    sizes: list[tuple[int, int] | None] = [None] * len(frames)
    if desc and (file is None or boxes is not None):
        places = trim.boxes(boxes or b"", len(frames), (desc.width, desc.height))
        sizes = [(box.width, box.height) for box in places]
        yield from _trim_reasons(file, boxes or b"", frames, places, (desc.width, desc.height))
    formats = radio.firmware.frame_formats if radio else ("png", "jpeg")
    for entry, size in zip(frames, sizes, strict=True):
        yield from _frame_reasons(entry, size, formats)
    yield from _order(frames)


def _trim_reasons(
    file: Entry | None, text: bytes, frames: Sequence[Entry], places: Sequence[trim.Box], panel: tuple[int, int]
) -> Iterator[Reason]:
    if file is None:
        return
    for entry, box in zip(frames, places, strict=True):
        if not box.within(panel):
            what = f"places {entry.leaf} at {box}, not within {panel[0]} x {panel[1]}"
            yield refuse("trim-outside", what, "write the box within the panel, WxH+X+Y", file=file.name)
    lines = len(trim.parse(text))
    if lines != len(frames):
        rest = "the frames after them are taken for whole ones" if lines < len(frames) else "the rest is not read"
        what = f"has {lines} lines that can be read for {len(frames)} frames: {rest}"
        yield note("trim-lines", what, "write a line a frame, WxH+X+Y, the last one ended too", file=file.name)


def _empty(row: Row, frames: Sequence[Entry], entries: Iterable[Entry]) -> Reason:
    mend = "add the frames, or take the row out"
    others = sorted({e.folder for e in entries if e.leaf and e.folder})
    near = [f for f in others if f.lower() == row.path.lower() or f.endswith(f"/{row.path}")]
    if near and not frames:
        mend = f"the frames may be those in {near[0]}: the folder's name and the row must be alike"
    return refuse("part-empty", f"the part {row.path} has no frame that is shown", mend, file=DESC)


def _frame_reasons(entry: Entry, size: tuple[int, int] | None, formats: tuple[str, ...]) -> Iterator[Reason]:
    if entry.compressed:
        what = "is compressed: the reference player skips it without a word"
        yield refuse("frame-compressed", what, "zip with compression off (store)", file=entry.name)
    if entry.kind == "other":
        what = "is no picture the radio can read, and counts as a frame"
        yield refuse("frame-not-a-picture", what, "take it out of the part's folder", file=entry.name)
        return
    if entry.kind not in formats:
        what = f"is a {entry.kind.upper()}, which this radio does not read"
        yield refuse("frame-format", what, f"save it as {' or '.join(formats).upper()}", file=entry.name)
    if size and (entry.width, entry.height) != size:
        what = f"is {entry.width} x {entry.height}, desc.txt or trim.txt says {size[0]} x {size[1]}"
        yield refuse(
            "frame-size", what, "make all frames the panel's size, cropped ones that of their line", file=entry.name
        )
    yield from _encoding(entry)


def _encoding(entry: Entry) -> Iterator[Reason]:
    if entry.interlaced:
        yield refuse("frame-interlaced", "is interlaced and does not show", "save it without", file=entry.name)
    if entry.bits is not None and entry.bits > 8:
        what = f"has {entry.bits} bits a channel"
        yield refuse("frame-deep", what, "save it with 8 bits a channel", file=entry.name)
    if entry.alpha:
        what = "can be see-through: such areas show the picture before"
        yield note("frame-alpha", what, "lay it onto its background", file=entry.name)


def _order(frames: Sequence[Entry]) -> Iterator[Reason]:
    meant = sorted(frames, key=lambda e: natural_key(e.leaf.lower()))  # stable: equal numbers stay in playing order
    for plays, was_meant in zip(frames, meant, strict=True):
        if plays is not was_meant:
            what = f"plays before {was_meant.leaf}: names are compared letter by letter"
            mend = "fill the numbers with zeros to one length, 0001, 0002 and so on"
            yield refuse("frames-out-of-order", what, mend, file=plays.name)
            return


# -- one radio ---------------------------------------------------------------------------------------


def _cropped(parts: Sequence[PartSeen], entries: Sequence[Entry], trims: Mapping[str, bytes]) -> memory.Cropped:
    sizes = {entry.name: (entry.width or 1, entry.height or 1) for entry in entries}
    trimmed = {i: part.frames for i, part in enumerate(parts) if f"{part.row.path}/{trim.NAME}" in trims}
    return {i: [sizes[name] for name in frames] for i, frames in trimmed.items()}


def _radio_reasons(desc: Desc, parts: Sequence[PartSeen], radio: Radio, cropped: memory.Cropped) -> Iterator[Reason]:
    if (desc.width, desc.height) != radio.panel.size:
        what = "it is made for {} x {}, {} is {} x {}".format(desc.width, desc.height, radio.name, *radio.panel.size)
        yield refuse("panel-size", what, "choose the other radio, or make it anew in this size", file=DESC)
    limits = radio.limits
    if not limits.fps_min <= desc.fps <= limits.fps_max:
        what = f"{desc.fps} fps; {radio.name} is trusted with {limits.fps_min} to {limits.fps_max}"
        yield note("fps-not-trusted", what, file=DESC)
    for part in parts:
        yield from _row_reasons(part.row, radio)
    played = [part.played for part in parts]
    if found := memory.finding(radio, [part or _NOTHING for part in played], cropped):
        yield found


_NOTHING = PlayedPart("p", 1, 0, 1)
"""Stands for a part that shows nothing, so that the others keep their numbers."""


def _row_reasons(row: Row, radio: Radio) -> Iterator[Reason]:
    if row.type not in radio.firmware.part_types:
        what = f"{row.path} is of type {row.type}; {radio.name} knows {', '.join(radio.firmware.part_types)}"
        yield refuse("type-not-known", what, "write p", file=DESC)
    if row.colour and not radio.firmware.row_colour:
        yield note("colour-not-known", f"{radio.name} does not read a row's colour", file=DESC)
