"""A drop of films of a radio's starts: told from a job's by its manifest, and built as it goes to the outbox."""

from __future__ import annotations

import errno
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from keyturn import __version__
from keyturn.calibrate import film_page, film_report
from keyturn.calibrate.films import FilmLesson, learn_from_files
from keyturn.inbox.survey import Survey
from keyturn.manifest import manifest_file
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.normalize.reading import kinds
from keyturn.outbox.calibration_folders import RECORD
from keyturn.pipeline import OpenedDrop
from keyturn.pipeline.bench import Bench
from keyturn.shop.named_kinds import START_BYTES
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import REASONS_SHOWN, Kind, Reason, Refused, first_of, note, only, refuse, stop_if_refused
from keyturn.shop.records import CalibrationRecord

MOST_FILMS = 50
"""Of one drop. A profile keeps as many starts."""


@dataclass(frozen=True, slots=True)
class FilmDrop:
    """A drop of films understood: of which radio they are, and where each lies, by its name in the drop."""

    found: Survey
    manifest: Manifest
    radio: Radio
    films: Mapping[str, Path]
    reasons: tuple[Reason, ...]


def of_films(drop: OpenedDrop, bench: Bench) -> FilmDrop | None:
    """Return the drop of films; None where the manifest is another's.

    Raise `Refused` with all that is wrong, the customer and the artist's folder.
    """
    root, rules, manifest, faults = drop.found.root, bench.rules, drop.manifest, drop.faults
    if manifest is None or manifest.calibrate is None:
        return None
    radio = rules.radio(manifest.calibrate)
    reasons = [*drop.reasons, *drop.found.reasons, *faults, *rules.radios_renamed((manifest.calibrate,))]
    try:
        if isinstance(radio, Reason):
            raise Refused([*only(reasons, Kind.REFUSE), radio.model_copy(update={"field": "calibrate"})])
        stop_if_refused(reasons)
        films, others = _films(drop.found)
        if not 1 <= len(films) <= MOST_FILMS:
            what = f"there are {len(films)} films in it" if films else "there is no film in it"
            mend = f"put in 1 to {MOST_FILMS} films of whole starts with the calibration stick, or take calibrate out"
            raise Refused([*reasons, refuse("films-missing", what, mend, file=FILE_NAME, field="calibrate")])
    except Refused as refused:
        raise Refused(refused.reasons, customer=manifest.customer, root=root) from None
    return FilmDrop(drop.found, manifest, radio, films, (*reasons, *others))


def _films(found: Survey) -> tuple[dict[str, Path], list[Reason]]:
    """Return the drop's films, told by their first bytes, and a note for each other file."""
    films, others = dict[str, Path](), list[Reason]()
    manifests = manifest_file.candidates(name for name in found.files if "/" not in name)
    for name in sorted(set(found.files) - set(manifests)):
        with (found.root / name).open("rb") as file:
            kind = kinds.of(file.read(START_BYTES))
        if kind in kinds.FILMS:
            films[name] = found.root / name
        else:
            others.append(note("film-left-out", "is no film: it stays in the archive", file=name))
    return films, others


def learnt(drop: FilmDrop, bench: Bench) -> FilmLesson:
    """Return what the films teach. Raise `Refused` with what is wrong with each, customer and folder."""
    bench.progress.stage("reading")
    try:
        return learn_from_files(drop.radio, drop.films, bench.rules.intake, bench.crew)
    except Refused as refused:
        raise Refused(refused.reasons, customer=drop.manifest.customer, root=drop.found.root) from None


def store(drop: FilmDrop, lesson: FilmLesson, shop_rules: Path, bench: Bench) -> str | None:
    """Write what was learnt into the shop's rules. Return in words what has become of it; None where the user of this
    program may not write there: the rules are the operator's. Raise as `film_profile.store_films` does, and OSError of
    other kinds."""
    try:
        return lesson.kept(lesson.store(shop_rules, drop.radio, on=bench.now().date()))
    except OSError as error:
        if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            return None
        raise


def command_for(drop: FilmDrop, taken: Path, archived: Path, shop_root: Path) -> str:
    """Return the command that stores what these films teach. The drop lies in `taken` now and in `archived` then; from
    an archive the films are to be unpacked first."""
    root, packed = drop.found.root, not drop.found.root.is_relative_to(taken)
    folder = Path() if packed else archived / root.relative_to(taken)
    files = " ".join(shlex.quote(str(folder / name)) for name in drop.films)
    command = f"keyturn calibrate {drop.radio.name} --film {files} --root {shlex.quote(str(shop_root))}"
    return f"{command} (where {archived} is unpacked)" if packed else command


@dataclass(frozen=True, slots=True)
class FilmsStored:
    """What has become of what was learnt: `kept` says it in words, and is None where only `command` can store it."""

    kept: str | None
    command: str


def build(
    drop: FilmDrop, lesson: FilmLesson, stored: FilmsStored, claim: str, drop_name: str, staging: Path, bench: Bench
) -> CalibrationRecord:
    """Fill the empty folder `staging` with page, picture and record."""
    told, kept, command = lesson.learnt, stored.kept, stored.command
    record = CalibrationRecord(
        keyturn=__version__,
        customer=drop.manifest.customer,
        radio=drop.radio.name,
        title=drop.radio.title,
        drop=drop_name,
        claim=claim,
        made_at=bench.now().isoformat(timespec="seconds"),
        films=tuple(drop.films),
        boots_s=tuple(round(start.boot_s, 3) for start in told.starts),
        interval_s=round(told.rates[-1].line.slope, 6),
        facts=tuple((fact.title, fact.words) for fact in film_report.facts(told)),
        doubts=tuple(film_report.doubts(told)),
        stored=kept is not None,
        command="" if kept else command,
        reasons=first_of(drop.reasons, REASONS_SHOWN),
    )
    words = kept or f"Not in the shop's rules yet, which the service may not change. Who may, runs: {command}"
    texts = {
        film_page.PAGE: film_page.film_page(told, drop.radio.title, record.made_at[:10], words),
        film_page.PICTURE: str(film_page.picture(told)),
        RECORD: record.model_dump_json(indent=2),
    }
    for name, text in texts.items():
        (staging / name).write_text(text, encoding="utf-8")
    return record
