"""What the files of a drop are, by their first bytes, whatever their names say.

Each file is a picture or film of a kind that is taken, or of a kind that rules/kinds.toml names, or neither.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from keyturn.inbox.survey import Survey
from keyturn.manifest import manifest_file
from keyturn.normalize.logo_names import is_logo, may_be_logos
from keyturn.normalize.reading import kinds
from keyturn.shop.named_kinds import START_BYTES, NamedKind, NamedKinds
from keyturn.shop.reasons import Reason, note, refuse
from keyturn.shop.rulebook import Intake

NAMES_SHOWN = 4
"""This many names are listed; the others are counted."""


@dataclass(frozen=True, slots=True)
class DropFiles:
    """The files of a drop. `art` holds those that count as pictures, also where they will be refused.

    `not_taken` holds the kind of each file that rules/kinds.toml names, and `unknown` what is neither.
    """

    art: frozenset[str]
    not_taken: Mapping[str, NamedKind]
    unknown: tuple[str, ...]


def look_into(found: Survey, intake: Intake, named: NamedKinds) -> DropFiles:
    """Read the first bytes of every file. Raise OSError as it comes from the shop's disk."""
    taken = {kind.upper() for kind in (*intake.formats.stills, *intake.formats.clips)}
    art, not_taken, unknown = set[str](), dict[str, NamedKind](), list[str]()
    manifests = manifest_file.candidates(name for name in found.files if "/" not in name)
    for name in found.files:
        if name in manifests:
            continue
        with (found.root / name).open("rb") as file:
            start = file.read(START_BYTES)
        kind = None if kinds.told(name, start) in taken else named.of(name, start)
        if kind := named.surely(name, start) or kind:
            not_taken[name] = kind
        elif kinds.told(name, start) in taken or PurePosixPath(name).suffix.lower() in kinds.ART_ENDINGS:
            art.add(name)
        else:
            unknown.append(name)
    return DropFiles(frozenset(art.union(_meant_as_art(not_taken, art))), not_taken, tuple(unknown))


def _meant_as_art(not_taken: Mapping[str, NamedKind], art: Collection[str]) -> Iterator[str]:
    """Yield the files of kinds that are not taken, where the artist means them as pictures.

    That is so by their kind or ending, in a numbered row of one kind in one folder, and where the only logo is one.
    """
    rows = Counter(_row(name) for name in not_taken if _has_number(name))
    has_logo = any(map(is_logo, art)) or bool(may_be_logos(art))
    logos = () if has_logo else [name for name in not_taken if is_logo(name)] or may_be_logos(not_taken)
    for name, kind in not_taken.items():
        by_name = PurePosixPath(name).suffix.lower() in kinds.ART_ENDINGS or name in logos
        if kind.art or kind.packed or by_name or (_has_number(name) and rows[_row(name)] > 1):
            yield name


def _row(name: str) -> tuple[str, str]:
    path = PurePosixPath(name)
    return str(path.parent), path.suffix.lower()


def _has_number(name: str) -> bool:
    return any(letter.isdigit() for letter in PurePosixPath(name).stem)


def refused(names: Iterable[str], files: DropFiles) -> list[Reason]:
    """Return one reason for each kind among `names` that is not taken."""
    return [
        refuse("picture-kind", f"is {kind.what}{and_more(of_kind)}", kind.way_out, file=of_kind[0])
        for kind, of_kind in _by_kind(names, files)
    ]


def left_out(names: Iterable[str], files: DropFiles) -> list[Reason]:
    """Return a note for each kind among `names`, files that are mentioned and cost nothing."""
    return [
        note("kind-left-out", f"is {kind.what}{and_more(of_kind)}; left out", kind.way_out, file=of_kind[0])
        for kind, of_kind in _by_kind(names, files)
    ]


def _by_kind(names: Iterable[str], files: DropFiles) -> Iterable[tuple[NamedKind, list[str]]]:
    groups: dict[str, tuple[NamedKind, list[str]]] = {}
    for name in names:
        if kind := files.not_taken.get(name):
            groups.setdefault(kind.what, (kind, []))[1].append(name)
    return groups.values()


def and_more(names: list[str]) -> str:
    return "" if len(names) == 1 else f", and so are {len(names) - 1} more ({listed(names[1:])})"


def without_pictures(files: DropFiles) -> list[Reason]:
    """Return why a drop holds no art: what lies in it instead, and the way out."""
    reasons = refused(sorted(files.not_taken), files)
    if files.unknown or not reasons:
        only = f"; in it lie {listed(files.unknown)}" if files.unknown else ": nothing lies beside job.toml"
        mend = "add numbered pictures (PNG or JPEG), or a GIF or film"
        reasons.append(refuse("no-art", f"the drop holds no pictures{only}", mend))
    return reasons


def listed(names: Iterable[str]) -> str:
    every = list(names)
    more = f" and {len(every) - NAMES_SHOWN} more" if len(every) > NAMES_SHOWN else ""
    return ", ".join(every[:NAMES_SHOWN]) + more
