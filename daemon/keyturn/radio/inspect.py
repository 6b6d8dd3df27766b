"""What a radio would make of a boot animation archive, from the archive's list and its pictures' headers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from keyturn.radio import memory
from keyturn.radio.archive import DESC, Entry, PartSeen, Trims, Verdict, part_seen
from keyturn.radio.desc import TRUSTED_PLAYS, Desc, Row, parse
from keyturn.radio.desc_lines import Fault
from keyturn.radio.inspect_part import STORE, part_reasons
from keyturn.radio.timeline import PlayedPart
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Reason, gathered, note, refuse

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


def look(
    entries: Sequence[Entry],
    desc_bytes: bytes | None,
    radio: Radio | None = None,
    trims: Trims | None = None,
) -> Verdict:
    """Return what would be shown of `entries`, and why it is not more.

    `desc_bytes` is the text of desc.txt at the archive's root, None where there is none. With a `radio`, its own
    limits are checked too.
    """
    trims = trims or {}
    reading = parse(desc_bytes or b"", trusted_plays=radio.firmware.max_plays if radio else TRUSTED_PLAYS)
    desc = reading.desc
    rows = desc.rows if desc else ()
    parts = tuple(part_seen(row, entries) for row in rows)
    reasons = [*_desc_found(entries, desc_bytes)]
    if desc_bytes is not None:
        reasons += map(_reason, reading.faults)
    for part in parts:
        reasons += part_reasons(part, entries, desc, radio, trims)
    reasons += [*_doubled(entries), *_unused(entries, rows)]
    if radio and desc:
        reasons += _radio_reasons(desc, parts, radio, _textures(parts, entries))
    return Verdict(desc, parts, gathered(dict.fromkeys(reasons)))


def _reason(fault: Fault) -> Reason:
    where = f"line {fault.line}: " if fault.line else ""
    finding = note if fault.code in HARMLESS else refuse
    return finding(fault.code, where + fault.what, fault.mend, file=DESC)


# -- the archive -------------------------------------------------------------------------------------


def _desc_found(entries: Sequence[Entry], desc_bytes: bytes | None) -> Iterator[Reason]:
    """Yield why the radio does not find or cannot read desc.txt."""
    at_root = next((e for e in entries if e.name == DESC), None)
    if at_root and at_root.compressed:
        what = "is compressed: the reference player cannot read it and shows nothing"
        yield refuse("desc-compressed", what, STORE, file=DESC)
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


# -- one radio ---------------------------------------------------------------------------------------


def _textures(parts: Sequence[PartSeen], entries: Sequence[Entry]) -> memory.Frames:
    """Return the textures of the frames of each part: a texture has the size of its file."""
    made = {e.name: memory.Texture(e.width, e.height, not e.alpha) for e in entries if e.width and e.height}
    return {i: [made[name] for name in part.frames if name in made] for i, part in enumerate(parts)}


def _radio_reasons(desc: Desc, parts: Sequence[PartSeen], radio: Radio, textures: memory.Frames) -> Iterator[Reason]:
    """Yield what this radio in particular does not take."""
    if (desc.width, desc.height) != radio.panel.size:
        what = "it is made for {} x {}, {} is {} x {}".format(desc.width, desc.height, radio.name, *radio.panel.size)
        yield refuse("panel-size", what, "choose the other radio, or make it anew in this size", file=DESC)
    limits = radio.limits
    if not limits.fps_min <= desc.fps <= limits.fps_max:
        what = f"{desc.fps} fps; {radio.name} is trusted with {limits.fps_min} to {limits.fps_max}"
        yield note("fps-not-trusted", what, file=DESC)
    for part in parts:
        yield from _row_reasons(part.row, radio)
    if found := memory.finding(radio, [part.played or _NOTHING for part in parts], textures):
        yield found


_NOTHING = PlayedPart("p", 1, 0, 1)
"""Stands for a part that shows nothing, so that the others keep their numbers."""


def _row_reasons(row: Row, radio: Radio) -> Iterator[Reason]:
    if row.type not in radio.player.part_types:
        what = f"{row.path} is of type {row.type}; {radio.name} knows {', '.join(radio.player.part_types)}"
        yield refuse("type-not-known", what, "write p", file=DESC)
    if row.colour and not radio.player.row_colour:
        yield note("colour-not-known", f"{radio.name} does not read a row's colour", file=DESC)
