"""What a radio would make of a boot animation archive, from the archive's list and its pictures' headers.

A radio whose generation is known is asked once. For others each generation that it may be is asked, and a finding
that holds for some only says for which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from keyturn.radio import memory
from keyturn.radio.archive import DESC, LONGEST_NAME, Entry, PartSeen, Trims, Verdict, is_read, part_seen
from keyturn.radio.desc import TRUSTED_PLAYS, Desc, parse
from keyturn.radio.desc_lines import Fault
from keyturn.radio.inspect_hold import hold_reasons, pacing_of_any, worst_delay
from keyturn.radio.inspect_part import STORE, part_reasons
from keyturn.radio.timeline import Timeline
from keyturn.shop.player_facts import GENERATIONS, Generation, PlayerFacts, of_generation
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, Reason, gathered, note, refuse
from keyturn.shop.rulebook import CAMERA_S

HOLDING = ("screen-never-released", "home-screen-held")
"""Codes of what keeps the home screen: they come first."""

HARMLESS = frozenset(
    [
        "line-endings",
        "line-skipped",
        "size-not-first",
        "size-doubled",
        "size-rest",
        "row-rest",
        "row-after-boot",
        "colour-odd",
        "colour-not-known",
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
    *,
    bytes_before: bool = False,
    camera_s: float = CAMERA_S,
) -> Verdict:
    """Return what would be shown of `entries`, and why it is not more.

    `desc_bytes` is the text of desc.txt at the archive's root, None where there is none. With a `radio`, its own
    limits are checked too, and its player decides; else the published players of all generations are asked.
    `bytes_before`: something stands before the archive's first entry. What holds a camera's screen for more than
    `camera_s` seconds is refused.
    """
    views = {
        generation: _view(entries, desc_bytes, radio, trims or {}, facts, bytes_before, camera_s)
        for generation, facts in _players(radio).items()
    }
    if len(views) == 1:
        return next(iter(views.values()))
    shortest = min(views.values(), key=lambda view: sum(len(part.frames) for part in view.parts))
    return Verdict(
        desc=shortest.desc,
        parts=shortest.parts,
        reasons=_told_together({g: view.reasons for g, view in views.items()}),
        shown=all(view.shown for view in views.values()),
        delay_s=max(view.delay_s for view in views.values()),
        by_generation=dict(views),
    )


def _players(radio: Radio | None) -> Mapping[Generation, PlayerFacts]:
    if radio is None:
        return {generation: of_generation(generation) for generation in GENERATIONS}
    return dict(zip(radio.player.generations, radio.player.candidates, strict=True))


def _told_together(found: Mapping[Generation, Sequence[Reason]]) -> tuple[Reason, ...]:
    """Return each reason once, with the generations for which it holds where these are not all.

    What is wrong for some generations only is a note: the radio may be another. What holds the screen comes first and
    stays a refusal.
    """
    holds: dict[Reason, list[Generation]] = {}
    for generation, reasons in found.items():
        for reason in reasons:
            holds.setdefault(reason, []).append(generation)
    refusing = Counter((r.code, r.file) for reasons in found.values() for r in _refusals_once(reasons))
    told = []
    for reason, where in holds.items():
        everywhere = refusing[reason.code, reason.file] == len(found) or reason.code in HOLDING
        kind = reason.kind if everywhere else Kind.NOTE
        what = reason.what if len(where) == len(found) else f"{reason.what} ({_named(where)})"
        told.append(reason.model_copy(update={"what": what, "kind": kind}))
    return tuple(sorted(told, key=lambda reason: reason.code not in HOLDING))


def _refusals_once(reasons: Iterable[Reason]) -> list[Reason]:
    """Return a reason for each code and file that is refused."""
    return list({(r.code, r.file): r for r in reasons if r.kind is Kind.REFUSE}.values())


def _named(generations: Sequence[Generation]) -> str:
    return f"{' and '.join(generations)} generation{'s' * (len(generations) > 1)}"


# -- one player --------------------------------------------------------------------------------------


def _view(
    entries: Sequence[Entry],
    desc_bytes: bytes | None,
    radio: Radio | None,
    trims: Trims,
    facts: PlayerFacts,
    bytes_before: bool,
    camera_s: float,
) -> Verdict:
    """Return what one player makes of the archive."""
    plays = radio.firmware.max_plays if radio else TRUSTED_PLAYS
    reading = parse(desc_bytes or b"", trusted_plays=plays, facts=facts)
    refused = _refused_whole(entries, facts, bytes_before)
    desc = None if refused or _desc_compressed(entries) else reading.desc
    rows = reading.desc.rows if reading.desc else ()
    seen = tuple(part_seen(row, entries, facts) for row in rows)
    parts = seen if desc else ()
    delay_s = worst_delay(desc, parts, radio, facts) if desc else 0.0
    reasons = [*hold_reasons(parts, radio, delay_s, camera_s), *refused]
    reasons += [*_desc_found(entries, desc_bytes)]
    if desc_bytes is not None:
        reasons += map(_reason, reading.faults)
    for part in seen:
        reasons += part_reasons(part, entries, reading.desc, radio, facts, trims)
    reasons += [*_doubled(entries, facts), *_long_names(entries), *_unused(entries, parse(desc_bytes or b"").desc)]
    if radio and desc:
        reasons += _radio_reasons(desc, parts, radio, textures(parts, entries))
    shown = desc is not None and _something_shown(desc, parts, entries, facts)
    return Verdict(desc, seen, gathered(dict.fromkeys(reasons)), shown, delay_s)


LONG_BOOT_S = 3600
"""A boot in which every part is reached that any boot reaches."""


def _something_shown(desc: Desc, parts: Sequence[PartSeen], entries: Sequence[Entry], facts: PlayerFacts) -> bool:
    """Whether a picture is seen in a start that lasts long enough for every part."""
    if not parts:
        return False
    timeline = Timeline(tuple(part.taken for part in parts), pacing_of_any(desc, facts), LONG_BOOT_S)
    kinds = {entry.name: entry for entry in entries}
    for name in (name for number in sorted(timeline.parts_shown) for name in parts[number].frames):
        if kinds[name].kind == "other" and facts.not_a_picture == "crash":
            return False  # the player ends before anything is seen
        if kinds[name].kind != "other" and not (facts.sixteen_bit == "blank" and (kinds[name].bits or 0) > 8):
            return True
    return False


def _reason(fault: Fault) -> Reason:
    where = f"line {fault.line}: " if fault.line else ""
    finding = note if fault.code in HARMLESS else refuse
    return finding(fault.code, where + fault.what, fault.mend, file=DESC)


# -- the archive -------------------------------------------------------------------------------------


def _refused_whole(entries: Sequence[Entry], facts: PlayerFacts, bytes_before: bool) -> list[Reason]:
    """Return why the player does not even open the archive."""
    found = []
    if bytes_before:
        what = "bytes stand before the first entry: no player opens it"
        found.append(refuse("zip-begins-late", what, "zip it anew; a self-extracting archive is no zip"))
    if facts.doubled_entries == "refused" and any(times > 1 for times in _times(entries).values()):
        found.append(refuse("zip-refused", "an entry is in the archive twice: it is not opened at all", "zip it anew"))
    return found


def _times(entries: Iterable[Entry]) -> Counter[str]:
    return Counter(e.name for e in entries)


def _desc_compressed(entries: Iterable[Entry]) -> bool:
    return any(e.name == DESC and e.compressed for e in entries)


def _desc_found(entries: Sequence[Entry], desc_bytes: bytes | None) -> Iterator[Reason]:
    """Yield why the radio does not find or cannot read desc.txt."""
    if _desc_compressed(entries):
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


def _doubled(entries: Iterable[Entry], facts: PlayerFacts) -> Iterator[Reason]:
    for name, times in _times(entries).items():
        if times > 1:
            yield refuse("entry-doubled", f"is in the archive {times} times", "zip it anew", file=name)


def _long_names(entries: Iterable[Entry]) -> Iterator[Reason]:
    for entry in entries:
        if not entry.compressed and not is_read(entry):
            what = f"has a name of more than {LONGEST_NAME} bytes and is skipped"
            yield refuse("name-too-long", what, "give it a short name", file=entry.name)


def _unused(entries: Iterable[Entry], desc: Desc | None) -> Iterator[Reason]:
    """Yield the entries of no row that any player reads."""
    folders = {row.path for row in desc.rows} if desc else set()
    for entry in entries:
        if entry.leaf and entry.name != DESC and entry.folder not in folders:
            yield note("entry-unused", "belongs to no row and is never shown", file=entry.name)


# -- one radio ---------------------------------------------------------------------------------------


def textures(parts: Sequence[PartSeen], entries: Sequence[Entry]) -> memory.Frames:
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
    played = [part.taken for part in parts]
    if played and (found := memory.finding(radio, played, textures)):
        yield found
