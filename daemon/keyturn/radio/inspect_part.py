"""What is wrong with one part of an archive: its frames, their order, and its trim.txt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from keyturn.radio import trim
from keyturn.radio.archive import DESC, Entry, PartSeen, Trims, frames_of, is_read
from keyturn.radio.desc import Desc, Row
from keyturn.shop.natural_order import natural_key
from keyturn.shop.player_facts import PlayerFacts
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, note, refuse

NO_PICTURE = {
    "repeats": "the picture before is repeated",
    "crash": "the player may crash",
    "background": "the background is shown for a beat",
}
"""What `PlayerFacts.not_a_picture` means, in words."""

STORE = "zip with compression off (store)"

Size = tuple[int, int]


def part_reasons(
    part: PartSeen,
    entries: Sequence[Entry],
    desc: Desc | None,
    radio: Radio | None,
    facts: PlayerFacts,
    trims: Trims,
) -> Iterator[Reason]:
    """Yield what is wrong with a part for a player; of the radio itself only its formats matter."""
    frames = [e for e in frames_of(part.row, entries, facts) if e.leaf != trim.NAME]
    name = f"{part.row.path}/{trim.NAME}"
    file = next((e for e in entries if e.name == name), None)
    if not part.frames:
        yield _empty(part.row, frames, entries)
    if file:
        yield from _trim_not_read(file, facts)
    sizes: list[Size | None] = [None] * len(frames)
    if desc and (file is None or not facts.trim or name in trims):
        panel, text = (desc.width, desc.height), trims.get(name, b"") if facts.trim else b""
        places = trim.boxes(text, len(frames), panel)
        sizes = [(box.width, box.height) for box in places]
        if file and facts.trim:
            yield from _trim_reasons(file, text, frames, places, panel)
    formats = radio.firmware.frame_formats if radio else ("png", "jpeg")
    interlaced = radio is not None and radio.firmware.interlaced
    for entry, size in zip(frames, sizes, strict=True):
        yield from _frame_reasons(entry, size, formats, facts)
        if entry.interlaced and not interlaced:
            mend = "save it without interlacing"
            yield refuse("frame-interlaced", "is interlaced and does not show", mend, file=entry.name)
    yield from _order(frames)


def _empty(row: Row, frames: Sequence[Entry], entries: Iterable[Entry]) -> Reason:
    mend = "add the frames, or take the row out"
    others = sorted({e.folder for e in entries if e.leaf and e.folder})
    near = [f for f in others if f.lower() == row.path.lower() or f.endswith(f"/{row.path}")]
    if near and not frames:
        mend = f"the frames may be those in {near[0]}: the folder's name and the row must be alike"
    return refuse("part-empty", f"the part {row.path} has no frame that is shown", mend, file=DESC)


# -- trim.txt ----------------------------------------------------------------------------------------


def _trim_not_read(file: Entry, facts: PlayerFacts) -> Iterator[Reason]:
    if not facts.trim:
        counts = f", and trim.txt counts as a frame: {NO_PICTURE[facts.not_a_picture]}" if not file.compressed else ""
        what = f"is not known: trimmed frames are shown whole, in the wrong place{counts}"
        yield refuse("trim-not-known", what, "give it frames of full size", file=file.name)
    if file.compressed:
        what = "is compressed: the reference player skips it and shows the frames whole"
        yield refuse("trim-compressed", what, STORE, file=file.name)


def _trim_reasons(
    file: Entry, text: bytes, frames: Sequence[Entry], places: Sequence[trim.Box], panel: Size
) -> Iterator[Reason]:
    for entry, box in zip(frames, places, strict=True):
        if not box.within(panel):
            what = f"places {entry.leaf} at {box}, not within {panel[0]} x {panel[1]}"
            yield refuse("trim-outside", what, "write the box within the panel, WxH+X+Y", file=file.name)
    lines = len(trim.parse(text))
    if lines != len(frames):
        rest = "the frames after them are taken for whole ones" if lines < len(frames) else "the rest is not read"
        what = f"has {lines} lines that can be read for {len(frames)} frames: {rest}"
        yield note("trim-lines", what, "write a line a frame, WxH+X+Y, and end the last one too", file=file.name)


# -- frames ------------------------------------------------------------------------------------------


def _frame_reasons(entry: Entry, size: Size | None, formats: tuple[str, ...], facts: PlayerFacts) -> Iterator[Reason]:
    if entry.compressed:
        what = "is compressed: the reference player skips it without a word"
        yield refuse("frame-compressed", what, STORE, file=entry.name)
    if entry.kind == "other":
        if not is_read(entry):
            return
        what = f"is no picture and counts as a frame: {NO_PICTURE[facts.not_a_picture]}"
        yield refuse("frame-not-a-picture", what, "take it out of the part's folder", file=entry.name)
        return
    if entry.kind not in formats:
        what = f"is a {entry.kind.upper()}, which this radio does not read"
        yield refuse("frame-format", what, f"save it as {' or '.join(formats).upper()}", file=entry.name)
    if size and (entry.width, entry.height) != size:
        what = f"is {entry.width} x {entry.height}, desc.txt or trim.txt says {size[0]} x {size[1]}"
        mend = "make all frames the panel's size, and cropped ones the size on their line"
        yield refuse("frame-size", what, mend, file=entry.name)
    yield from _encoding(entry, facts)


def _encoding(entry: Entry, facts: PlayerFacts) -> Iterator[Reason]:
    if entry.bits is not None and entry.bits > 8:
        blank = facts.sixteen_bit == "blank"
        what = f"has {entry.bits} bits a channel" + (": a blank frame is shown" if blank else "")
        finding = refuse if blank else note
        yield finding("frame-deep", what, "save it with 8 bits a channel", file=entry.name)
    if entry.alpha:
        ground = "black" if facts.see_through == "black" else "the row's colour"
        what = f"can be see-through: such areas show {ground}, on some radios the picture before"
        yield note("frame-alpha", what, "lay it onto its background", file=entry.name)


def _order(frames: Sequence[Entry]) -> Iterator[Reason]:
    """Yield a refusal at the first frame that plays before one with a lower number."""
    meant = sorted(frames, key=lambda e: natural_key(e.leaf.lower()))  # stable: equal numbers stay in playing order
    for plays, was_meant in zip(frames, meant, strict=True):
        if plays is not was_meant:
            what = f"plays before {was_meant.leaf}: names are compared letter by letter"
            mend = "fill the numbers with zeros to one length, 0001, 0002 and so on"
            yield refuse("frames-out-of-order", what, mend, file=plays.name)
            return
