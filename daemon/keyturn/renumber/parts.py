"""Which pictures make which part: by the manifest's patterns, or guessed from the folders.

The pictures that frames are drawn from (backdrops, sprites, those a part dissolves from and into) are found as well.
"""

from __future__ import annotations

import filecmp
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import Final, TypeVar

from keyturn.inbox.survey import Survey
from keyturn.manifest.models import FILE_NAME, Manifest, Part
from keyturn.normalize import drop_files, scale_marks
from keyturn.normalize.drop_files import DropFiles
from keyturn.normalize.probing import ProbeAll, here, probed
from keyturn.normalize.reading.clips import is_clip
from keyturn.normalize.reading.probe import Probe
from keyturn.normalize.sheet_cells import Cell
from keyturn.renumber import order
from keyturn.renumber.clip_timing import cut_reasons
from keyturn.renumber.extra_pictures import clip_reasons, extra_pictures, with_real_names
from keyturn.renumber.job_words import NO_WORDS, JobWords
from keyturn.renumber.logo import JobLogo, job_logo
from keyturn.renumber.patterns import matching, what_looks_like, where_pictures_lie
from keyturn.renumber.stills_and_clips import stills_of
from keyturn.shop.named_kinds import NO_KINDS, NamedKinds
from keyturn.shop.reasons import Kind, Reason, Refused, mended, note, refuse
from keyturn.shop.rulebook import Intake

UNTIL_BOOTED: Final = "until-booted"

UNUSED_SHOWN = 4
"""This many unused pictures are named; the others are counted."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class PartArt:
    """One part's pictures, `names`, in playing order: several stills, one clip, or none where a glide is drawn.

    `entry` is the manifest's part with the names that the files really have. `hold_of` is the part whose last picture
    this one shows. `cells` are the frames of a part that is cut from sheets, each with the name of its sheet.
    """

    art: str
    names: tuple[str, ...]
    clip: bool
    plays: int | str
    pause_s: float
    entry: Part
    hold_of: PartArt | None = None
    cells: tuple[tuple[str, Cell], ...] = ()

    @property
    def hold_screen(self) -> str | None:
        return None if self.hold_of else self.entry.hold_screen


@dataclass(frozen=True, slots=True)
class JobArt:
    """The job's art, the same for all its radios. Without a `logo`, frame 1 is the logo.

    `words` are the job's words, set for each radio's panel.
    """

    parts: tuple[PartArt, ...]
    logo: str | None
    probes: Mapping[str, Probe]
    reasons: tuple[Reason, ...]
    words: JobWords = NO_WORDS


@dataclass(frozen=True, slots=True)
class LookedInto:
    """What was read of a drop's files: their kinds, and the headers of those that a job used."""

    files: DropFiles
    probes: dict[str, Probe | Refused] = field(default_factory=dict)

    @classmethod
    def of(cls, found: Survey, intake: Intake, named: NamedKinds) -> LookedInto:
        return cls(drop_files.look_into(found, intake, named))


def job_art(
    manifest: Manifest,
    found: Survey,
    intake: Intake,
    probe_all: ProbeAll = here,
    named: NamedKinds = NO_KINDS,
    known: LookedInto | None = None,
    words: JobWords = NO_WORDS,
) -> JobArt:
    """Return the art of the drop `found`. Raise `Refused` with everything that is wrong with it.

    `probe_all` reads the headers of the files that the service should not read itself; see `probing`.
    `named` tells kinds that are not taken. `known` is what was read of the files for another job of the same drop.
    `words` are the job's words as they are set.
    """
    known = known or LookedInto.of(found, intake, named)
    files = known.files
    chosen_logo = job_logo(manifest, found.files, files)
    logo, reasons = chosen_logo.name, [*chosen_logo.reasons, *words.reasons]
    entries, more = _entries(manifest, found.files, files, chosen_logo)
    reasons += more
    extra = dict.fromkeys(name for entry in entries for name in extra_pictures(entry) if name in found.files)
    pictures, more = _gathered(
        _pictures(entry, n, found.files, files, extra, chosen_logo.not_frames) for n, entry in enumerate(entries, 1)
    )
    reasons += more
    used = dict.fromkeys([*(name for names in pictures for name in names), *extra])
    wanted = [*used, *([logo] if logo and logo not in used else [])]
    reasons += drop_files.refused(wanted, files)
    readable = [name for name in wanted if name not in files.not_taken]
    probes, header_reasons = probed(found.root, readable, intake, probe_all, known.probes)
    reasons += header_reasons
    reasons += clip_reasons(extra, probes)
    chosen = list(zip(entries, pictures, strict=True))
    parts, more = _gathered(_part(e, names, probes, found.root) for e, names in chosen if names or e.glide)
    reasons += more
    for number, (entry, names) in enumerate(chosen, 1):
        reasons += cut_reasons(entry, number, names, probes, intake.caps.frames)
    if parts:
        reasons += [*unused(files, {*used, logo, *chosen_logo.told, *words.fonts}), *_unreachable(parts)]
    elif not _refuses(reasons):
        reasons += drop_files.without_pictures(files)
    if _refuses(reasons):
        raise Refused(reasons)
    return JobArt(tuple(_with_hold(parts)), logo, probes, tuple(reasons), words)


def _gathered(results: Iterable[tuple[T, Sequence[Reason]]]) -> tuple[list[T], list[Reason]]:
    """Return the values of several results, and the reasons of all."""
    values: list[T] = []
    reasons: list[Reason] = []
    for value, more in results:
        values.append(value)
        reasons += more
    return values, reasons


def _refuses(reasons: Sequence[Reason]) -> bool:
    return any(r.kind is Kind.REFUSE for r in reasons)


# -- a part's pictures ------------------------------------------------------------------------------


def _entries(
    manifest: Manifest, files: Sequence[str], kinds: DropFiles, logo: JobLogo
) -> tuple[list[Part], list[Reason]]:
    """Return the manifest's parts, or guessed ones where it has none."""
    parts, reasons = (list(manifest.part), list[Reason]()) if manifest.part else _guessed(kinds, logo)
    entries, more = _gathered(with_real_names(part, number, files, logo.name) for number, part in enumerate(parts, 1))
    return entries, reasons + more


def _guessed(files: DropFiles, logo: JobLogo) -> tuple[list[Part], list[Reason]]:
    """Return a part for each sub-folder in name order, or one part of the loose pictures; of a logo alone, its hold."""
    art = [name for name in sorted(files.art) if name != logo.name and name not in logo.not_frames]
    loose = [name for name in art if "/" not in name]
    folders = sorted({name.rpartition("/")[0] for name in art if "/" in name})
    if loose and folders:
        what = f"lies loose, while other pictures lie in folders ({', '.join(folders)})"
        mend = "put all in folders, or name the parts under [[part]]"
        return [], [refuse("parts-unclear", what, mend, file=loose[0])]
    if not art and logo.name:
        what = "is the only picture, and stands until the radio has booted"
        return [Part(art=logo.name, plays=UNTIL_BOOTED)], [note("logo-alone", what, file=logo.name)]
    return [Part(art=f"{folder}/*") for folder in folders] or ([Part(art="*")] if loose else []), []


def _pictures(
    entry: Part,
    number: int,
    files: Sequence[str],
    kinds: DropFiles,
    extra: Collection[str],
    not_frames: Collection[str],
) -> tuple[tuple[str, ...], list[Reason]]:
    """Return the pictures that the part's pattern matches.

    A pattern with a star leaves out the logo (`not_frames`), and `extra` pictures without a number: scene.png is no
    frame, while 0048.png may be both a frame and a backdrop.
    """
    if entry.art is None:
        return (), []
    found, reasons = matching(entry.art, files)
    names = tuple(name for name in found if name in kinds.art or name == entry.art)
    names = names or tuple(name for name in found if name in kinds.not_taken)
    if "*" in entry.art:
        names = tuple(name for name in names if name not in not_frames and (name not in extra or _has_number(name)))
    field = f"part.{number}.art"
    if not names:
        what = f'"{entry.art}" matches no picture of the drop{what_looks_like(entry.art, files)}'
        reasons.append(refuse("part-empty", what, where_pictures_lie(kinds.art), file=FILE_NAME, field=field))
    if entry.pan and len(names) > 1:
        what = f'"{entry.art}" names {len(names)} pictures, and a pan moves over one'
        reasons.append(refuse("pan-of-several", what, "name one picture", file=FILE_NAME, field=field))
    return names, reasons


def _largest(found: Sequence[str]) -> tuple[tuple[str, ...], list[Reason]]:
    """Return of pictures exported at several sizes the largest, and what was left out."""
    names, left = scale_marks.largest(found)
    if not left:
        return tuple(names), []
    what = f"was left out, for a larger one of its picture lies beside it{drop_files.and_more(left)}"
    return tuple(names), [mended("sizes-left-out", what, file=left[0])]


def _has_number(name: str) -> bool:
    return any(letter.isdigit() for letter in PurePosixPath(name).stem)


def _part(entry: Part, names: tuple[str, ...], probes: Mapping[str, Probe], root: Path) -> tuple[PartArt, list[Reason]]:
    """Return the part with its pictures in playing order, and what is wrong with them."""
    names, reasons = _largest(names)
    clips = [name for name in names if name in probes and is_clip(probes[name])]
    clip = len(names) == 1 and bool(clips)
    if clips and not clip:
        names, more = stills_of(names, clips)
        reasons += more
    if len(names) > 1:
        ordered = order.order(names, part=_in_words(entry.art or ""), same=_same_content(root))
        reasons += ordered.reasons
        names = ordered.names
    if entry.pan and clip:
        what = "moves by itself; a pan moves over a still"
        reasons.append(refuse("pan-of-clip", what, "name a still", file=names[0]))
    if entry.sheet and clip:
        what = "moves by itself; a sheet is a still that holds its frames side by side"
        reasons.append(refuse("sheet-of-clip", what, "take sheet out", file=names[0]))
    art = entry.art or "a glide drawn by Keyturn"
    return PartArt(art, names, clip, entry.plays, entry.pause, entry), reasons


def _in_words(art: str) -> str:
    return "the loose pictures" if art == "*" else art


def _same_content(root: Path) -> Callable[[str, str], bool]:
    return lambda a, b: filecmp.cmp(root / a, root / b, shallow=False)


# -- all parts together -----------------------------------------------------------------------------


UNUSED_CODES = frozenset({"art-unused", "kind-left-out"})
"""Codes of what `unused` notes."""


def unused(files: DropFiles, used: Collection[str | None]) -> list[Reason]:
    """Note the pictures, and the files of kinds that are not taken, that no job uses."""
    notes = drop_files.left_out([name for name in files.not_taken if name not in used], files)
    left = sorted(files.art.difference(used).difference(files.not_taken))
    if not left:
        return notes
    more = f" and {len(left) - UNUSED_SHOWN} more" if len(left) > UNUSED_SHOWN else ""
    return [*notes, note("art-unused", f"in the drop but not in the job: {', '.join(left[:UNUSED_SHOWN])}{more}")]


def _unreachable(parts: Sequence[PartArt]) -> list[Reason]:
    """Refuse an endless part that others follow: they are never seen."""
    return [
        refuse(
            "part-unreachable",
            f"part {number} plays until the radio has booted, so the parts after it are never seen",
            "put it last, or give it a number of plays",
            file=FILE_NAME,
            field=f"part.{number}.plays",
        )
        for number, part in enumerate(parts[:-1], 1)
        if part.plays == UNTIL_BOOTED
    ]


def _with_hold(parts: Sequence[PartArt]) -> list[PartArt]:
    """Return the parts, followed by a hold of the last picture where the last is not endless.

    The screen must show something until the radio has booted.
    """
    last = parts[-1]
    return list(parts) if last.plays == UNTIL_BOOTED else [*parts, _hold(last)]


def _hold(last: PartArt) -> PartArt:
    names = last.names[:1] if last.entry.reverse else last.names[-1:]
    art = f"last picture of {_in_words(last.art)}"
    return replace(last, art=art, names=names, plays=UNTIL_BOOTED, pause_s=0.0, hold_of=last)
