"""What changed from one revision of a job to the next, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from keyturn.pages.render import counted, seconds
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.records import JobRecord, PartRecord, ProofRecord, RadioProof, RadioRecord
from keyturn.shop.units import readable_size

Revision = tuple[JobRecord, ProofRecord]

MOST_PAIRS = 4
"""Redrawn pictures that are shown side by side. The sentences name them all."""


def changed(before: Revision, after: Revision) -> tuple[str, ...]:
    """Return a sentence for each change; none where both revisions are the same."""
    old, new = ({r.radio: r for r in job.radios} for job, _ in (before, after))
    said = [f"{name}: new in this revision" for name in new if name not in old]
    said += [f"{name}: no longer made" for name in old if name not in new]
    for name in (n for n in new if n in old):
        pictures = _pictures(before[1], name), _pictures(after[1], name)
        prefix = f"{name}: " if len(new) > 1 or len(old) > 1 else ""
        said += [prefix + words for words in _radio(old[name], new[name], *pictures)]
    if before[0].artist != after[0].artist and after[0].artist:
        said.append(f"drawn by {after[0].artist}")
    return tuple(said)


@dataclass(frozen=True, slots=True)
class Redrawn:
    """A picture before and after it was redrawn, as data URIs, and what people call it."""

    title: str
    before: str
    after: str


def redrawn_pictures(before: Revision, after: Revision) -> tuple[Redrawn, ...]:
    """Return the pictures that were redrawn, side by side: at most `MOST_PAIRS`, spread evenly."""
    found: list[Redrawn] = []
    old_radios = {radio.radio: radio for radio in before[0].radios}
    for radio in after[0].radios:
        old, new = _pictures(before[1], radio.radio), _pictures(after[1], radio.radio)
        if radio.radio in old_radios and old and new:
            found += _pairs(old_radios[radio.radio], radio, old, new)
    return tuple(found[at] for at in evenly_spaced(len(found), MOST_PAIRS))


def _pairs(old: RadioRecord, new: RadioRecord, before: RadioProof, after: RadioProof) -> Iterator[Redrawn]:
    """Yield the pairs of one radio. A part of other length that shares no picture with the old one is left out."""
    if before.logo != after.logo:
        yield Redrawn("the boot logo", before.logo, after.logo)
    for name, was, now in _in_both(old, new, before, after):
        if set(was) & set(now) or len(was) == len(now):
            for tag, i, j, k, m in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
                if tag == "replace":
                    for at in range(min(j - i, m - k)):
                        yield Redrawn(f"picture {k + at + 1} of {name}", was[i + at], now[k + at])


def _in_both(
    old: RadioRecord, new: RadioRecord, before: RadioProof, after: RadioProof
) -> Iterator[tuple[str, list[str], list[str]]]:
    """Yield each part that both revisions have: what people call it, its pictures before, and those now."""
    orders = dict(zip((p.path for p in old.parts), before.order, strict=False))
    for (name, part), order in zip(_named(new.parts), after.order, strict=False):
        if part.path in orders:
            yield name, [before.frames[i] for i in orders[part.path]], [after.frames[i] for i in order]


def _pictures(proof: ProofRecord, radio: str) -> RadioProof | None:
    return next((r for r in proof.radios if r.radio == radio), None)


def _radio(
    old: RadioRecord, new: RadioRecord, old_shown: RadioProof | None, new_shown: RadioProof | None
) -> Iterator[str]:
    if old.fps != new.fps:
        yield f"{old.fps} to {new.fps} frames a second"
    yield from _parts(old.parts, new.parts)
    if old_shown and new_shown:
        yield from _redrawn(old, new, old_shown, new_shown)
    ends = old.timeline.once_only_s, new.timeline.once_only_s
    if abs(ends[0] - ends[1]) >= 0.05:
        yield f"what plays once ends at {seconds(ends[1])} instead of {seconds(ends[0])}"
    boots = [(r.timeline.boot_shortest_s, r.timeline.boot_usual_s, r.timeline.boot_longest_s) for r in (old, new)]
    if boots[0] != boots[1]:
        yield "start-up times: " + " s, now ".join(" / ".join(f"{s:.1f}" for s in boot) for boot in boots) + " s"
    yield from _files(old, new)


def _parts(old: Sequence[PartRecord], new: Sequence[PartRecord]) -> Iterator[str]:
    before, after = {p.path for p in old}, {p.path for p in new}
    yield from (f"{name}: a new part" for name, part in _named(new) if part.path not in before)
    yield from (f"{name}: this part is gone" for name, part in _named(old) if part.path not in after)
    earlier = {part.path: part for part in old}
    for name, part in _named(new):
        if part.path in earlier:
            yield from (f"{name}: {words}" for words in _part(earlier[part.path], part))


def _named(parts: Sequence[PartRecord]) -> Iterator[tuple[str, PartRecord]]:
    """Yield each part and what people call it."""
    yield from ((f"part {number}", part) for number, part in enumerate(parts, 1))


def _part(old: PartRecord, new: PartRecord) -> Iterator[str]:
    if old.frames != new.frames:
        yield f"{counted(new.frames, 'frame')} instead of {old.frames}"
    if old.count != new.count:
        yield f"plays {_plays(new.count)} instead of {_plays(old.count)}"
    if abs(old.pause_s - new.pause_s) >= 0.05:
        yield f"a rest of {seconds(new.pause_s)} instead of {seconds(old.pause_s)}"
    if old.type != new.type:
        yield f"of type {new.type} instead of {old.type}"
    if old.art != new.art:
        yield f"drawn from {new.art} instead of {old.art}"


def _plays(count: int) -> str:
    return "until booted" if count == 0 else "once" if count == 1 else f"{count} times"


def _redrawn(old: RadioRecord, new: RadioRecord, before: RadioProof, after: RadioProof) -> Iterator[str]:
    """Yield which pictures were redrawn, told by the small pictures of the sheet.

    All small pictures differ where their size changed from one Keyturn to the next. So nothing is said where the
    revisions share no picture and differ in the number of frames.
    """
    same_number = sum(map(len, before.order)) == sum(map(len, after.order))
    if not same_number and not set(before.frames) & set(after.frames):
        return
    if before.logo != after.logo:
        yield "the boot logo was redrawn"
    for name, was, now in _in_both(old, new, before, after):
        yield from _frames(name, was, now)


def _frames(name: str, old: list[str], new: list[str]) -> Iterator[str]:
    said: dict[str, list[int]] = {"redrawn": [], "new": [], "taken out": []}
    for tag, i, j, k, m in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            continue
        both = min(j - i, m - k)
        said["redrawn"] += range(k, k + both)
        said["new"] += range(k + both, m)
        said["taken out"] += range(i + both, j)
    for what, numbers in said.items():
        if numbers:
            earlier = " (as numbered before)" if what == "taken out" else ""
            yield f"{name}: {'frame' if len(numbers) == 1 else 'frames'} {spans(numbers)} {what}{earlier}"


def spans(indexes: Sequence[int]) -> str:
    """Return ascending indices from 0 as numbers from 1: "3, 7 to 9"."""
    runs: list[list[int]] = []
    for index in indexes:
        if runs and index == runs[-1][1] + 1:
            runs[-1][1] = index
        else:
            runs.append([index, index])
    return ", ".join(f"{a + 1}" if a == b else f"{a + 1} to {b + 1}" for a, b in runs)


def _files(old: RadioRecord, new: RadioRecord) -> Iterator[str]:
    before, after = {f.path: f for f in old.files}, {f.path: f for f in new.files}
    for path, file in after.items():
        if path not in before:
            yield f"{path}: a new file on the stick"
        elif before[path].sha256 != file.sha256:
            yield f"{path}: now {readable_size(file.size)}, before {readable_size(before[path].size)}"
    yield from (f"{path}: no longer on the stick" for path in before if path not in after)
