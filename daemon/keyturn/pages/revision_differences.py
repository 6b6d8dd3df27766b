"""What changed from one revision of a job to the next, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from keyturn.pages.in_words import times
from keyturn.pages.languages import ENGLISH, Language
from keyturn.shop.evenly_spaced import evenly_spaced
from keyturn.shop.records import JobRecord, PartRecord, ProofRecord, RadioProof, RadioRecord

Revision = tuple[JobRecord, ProofRecord]

MOST_PAIRS = 4
"""Redrawn pictures that are shown side by side. The sentences name them all."""


def changed(before: Revision, after: Revision, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return a sentence for each change; none where both revisions are the same."""
    _ = language.gettext
    old, new = ({r.radio: r for r in job.radios} for job, _ in (before, after))
    said = [_("%(name)s: new in this revision", name=language.isolated(name)) for name in new if name not in old]
    said += [_("%(name)s: no longer made", name=language.isolated(name)) for name in old if name not in new]
    for name in (n for n in new if n in old):
        pictures = _pictures(before[1], name), _pictures(after[1], name)
        words = _radio(old[name], new[name], *pictures, language)
        several = len(new) > 1 or len(old) > 1
        about = language.isolated(name)
        said += [_("%(name)s: %(words)s", name=about, words=each) if several else each for each in words]
    if before[0].artist != after[0].artist and after[0].artist:
        said.append(_("drawn by %(artist)s", artist=language.isolated(after[0].artist)))
    return tuple(said)


@dataclass(frozen=True, slots=True)
class Redrawn:
    """A picture before and after it was redrawn, as data URIs, and what people call it."""

    title: str
    before: str
    after: str


def redrawn_pictures(before: Revision, after: Revision, language: Language = ENGLISH) -> tuple[Redrawn, ...]:
    """Return the pictures that were redrawn, side by side: at most `MOST_PAIRS`, spread evenly."""
    found: list[Redrawn] = []
    old_radios = {radio.radio: radio for radio in before[0].radios}
    for radio in after[0].radios:
        old, new = _pictures(before[1], radio.radio), _pictures(after[1], radio.radio)
        if radio.radio in old_radios and old and new:
            found += _pairs(old_radios[radio.radio], radio, old, new, language)
    return tuple(found[at] for at in evenly_spaced(len(found), MOST_PAIRS))


def _pairs(
    old: RadioRecord, new: RadioRecord, before: RadioProof, after: RadioProof, language: Language
) -> Iterator[Redrawn]:
    """Yield the pairs of one radio. A part of other length that shares no picture with the old one is left out."""
    if before.logo != after.logo:
        yield Redrawn(language.gettext("the boot logo"), before.logo, after.logo)
    for name, was, now in _in_both(old, new, before, after, language):
        if set(was) & set(now) or len(was) == len(now):
            for tag, i, j, k, m in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
                if tag == "replace":
                    for at in range(min(j - i, m - k)):
                        title = language.gettext("picture %(number)s of %(part)s", number=k + at + 1, part=name)
                        yield Redrawn(title, was[i + at], now[k + at])


def _in_both(
    old: RadioRecord, new: RadioRecord, before: RadioProof, after: RadioProof, language: Language
) -> Iterator[tuple[str, list[str], list[str]]]:
    """Yield each part that both revisions have: what people call it, its pictures before, and those now."""
    orders = dict(zip((p.path for p in old.parts), before.order, strict=False))
    for (name, part), order in zip(_named(new.parts, language), after.order, strict=False):
        if part.path in orders:
            yield name, [before.frames[i] for i in orders[part.path]], [after.frames[i] for i in order]


def _pictures(proof: ProofRecord, radio: str) -> RadioProof | None:
    return next((r for r in proof.radios if r.radio == radio), None)


def _radio(
    old: RadioRecord,
    new: RadioRecord,
    old_shown: RadioProof | None,
    new_shown: RadioProof | None,
    language: Language,
) -> Iterator[str]:
    _ = language.gettext
    if old.fps != new.fps:
        yield _("%(before)s to %(now)s frames a second", before=old.fps, now=new.fps)
    yield from _parts(old.parts, new.parts, language)
    if old_shown and new_shown:
        yield from _redrawn(old, new, old_shown, new_shown, language)
    ends = old.timeline.once_only_s, new.timeline.once_only_s
    if abs(ends[0] - ends[1]) >= 0.05:
        before, now = map(language.seconds, ends)
        yield _("what plays once ends at %(now)s instead of %(before)s", now=now, before=before)
    boots = [(r.timeline.boot_shortest_s, r.timeline.boot_usual_s, r.timeline.boot_longest_s) for r in (old, new)]
    if boots[0] != boots[1]:
        before, now = (" / ".join(language.decimal(s, 1) for s in boot) for boot in boots)
        yield _("start-up times: %(before)s s, now %(now)s s", before=before, now=now)
    yield from _files(old, new, language)


def _parts(old: Sequence[PartRecord], new: Sequence[PartRecord], language: Language) -> Iterator[str]:
    _ = language.gettext
    before, after = {p.path for p in old}, {p.path for p in new}
    yield from (_("%(name)s: a new part", name=name) for name, part in _named(new, language) if part.path not in before)
    yield from (
        _("%(name)s: this part is gone", name=name) for name, part in _named(old, language) if part.path not in after
    )
    earlier = {part.path: part for part in old}
    for name, part in _named(new, language):
        if part.path in earlier:
            told = _part(earlier[part.path], part, language)
            yield from (_("%(name)s: %(words)s", name=name, words=words) for words in told)


def _named(parts: Sequence[PartRecord], language: Language) -> Iterator[tuple[str, PartRecord]]:
    """Yield each part and what people call it."""
    yield from ((language.gettext("part %(number)s", number=number), part) for number, part in enumerate(parts, 1))


def _part(old: PartRecord, new: PartRecord, language: Language) -> Iterator[str]:
    _ = language.gettext
    if old.frames != new.frames:
        yield language.ngettext(
            "%(num)s frame instead of %(before)s",
            "%(num)s frames instead of %(before)s",
            new.frames,
            before=language.decimal(old.frames),
        )
    if old.count != new.count:
        before, now = _plays(old.count, language), _plays(new.count, language)
        yield _("plays %(now)s instead of %(before)s", now=now, before=before)
    if abs(old.pause_s - new.pause_s) >= 0.05:
        before, now = language.seconds(old.pause_s), language.seconds(new.pause_s)
        yield _("a rest of %(now)s instead of %(before)s", now=now, before=before)
    if old.type != new.type:
        yield _("of type %(now)s instead of %(before)s", now=new.type, before=old.type)
    if old.art != new.art:
        before, now = language.isolated(old.art), language.isolated(new.art)
        yield _("drawn from %(now)s instead of %(before)s", now=now, before=before)


def _plays(count: int, language: Language) -> str:
    return times(count, language) if count else language.gettext("until booted")


def _redrawn(
    old: RadioRecord, new: RadioRecord, before: RadioProof, after: RadioProof, language: Language
) -> Iterator[str]:
    """Yield which pictures were redrawn, told by the small pictures of the sheet.

    All small pictures differ where their size changed from one Keyturn to the next. So nothing is said where the
    revisions share no picture and differ in the number of frames.
    """
    same_number = sum(map(len, before.order)) == sum(map(len, after.order))
    if not same_number and not set(before.frames) & set(after.frames):
        return
    if before.logo != after.logo:
        yield language.gettext("the boot logo was redrawn")
    for name, was, now in _in_both(old, new, before, after, language):
        yield from _frames(name, was, now, language)


def _frames(name: str, old: list[str], new: list[str], language: Language) -> Iterator[str]:
    redrawn, added, gone = list[int](), list[int](), list[int]()
    for tag, i, j, k, m in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            continue
        both = min(j - i, m - k)
        redrawn += range(k, k + both)
        added += range(k + both, m)
        gone += range(i + both, j)
    if redrawn:
        yield language.ngettext(
            "%(name)s: frame %(numbers)s redrawn",
            "%(name)s: frames %(numbers)s redrawn",
            len(redrawn),
            name=name,
            numbers=spans(redrawn, language),
        )
    if added:
        yield language.ngettext(
            "%(name)s: frame %(numbers)s new",
            "%(name)s: frames %(numbers)s new",
            len(added),
            name=name,
            numbers=spans(added, language),
        )
    if gone:
        yield language.ngettext(
            "%(name)s: frame %(numbers)s taken out (as numbered before)",
            "%(name)s: frames %(numbers)s taken out (as numbered before)",
            len(gone),
            name=name,
            numbers=spans(gone, language),
        )


def spans(indexes: Sequence[int], language: Language = ENGLISH) -> str:
    """Return ascending indices from 0 as numbers from 1: "3, 7 to 9"."""
    runs: list[list[int]] = []
    for index in indexes:
        if runs and index == runs[-1][1] + 1:
            runs[-1][1] = index
        else:
            runs.append([index, index])
    _ = language.gettext
    return language.listed(
        *(f"{a + 1}" if a == b else _("%(first)s to %(last)s", first=a + 1, last=b + 1) for a, b in runs)
    )


def _files(old: RadioRecord, new: RadioRecord, language: Language) -> Iterator[str]:
    _ = language.gettext
    before, after = {f.path: f for f in old.files}, {f.path: f for f in new.files}
    for path, file in after.items():
        if path not in before:
            yield _("%(path)s: a new file on the stick", path=language.isolated(path))
        elif before[path].sha256 != file.sha256:
            yield _(
                "%(path)s: now %(now)s, before %(before)s",
                path=language.isolated(path),
                now=language.size(file.size),
                before=language.size(before[path].size),
            )
    for path in before:
        if path not in after:
            yield _("%(path)s: no longer on the stick", path=language.isolated(path))
