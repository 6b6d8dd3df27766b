"""What a drop orders: one job, or one for each row of its table, `each = "fleet.csv"` in job.toml.

Every row is planned before any is made, so that all faulty rows are told at once. A reason names the row and its cell.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from keyturn import pipeline
from keyturn.inbox.survey import Survey
from keyturn.manifest import fleet_rows, fleet_table, reading
from keyturn.manifest.fleet_rows import RowManifest, Uses
from keyturn.manifest.fleet_table import FleetTable
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.pipeline import Bench, Job, OpenedDrop
from keyturn.pipeline.fleet_art import FleetArt
from keyturn.renumber import packed_art, parts
from keyturn.renumber.job_words import WordsBench, words_faults
from keyturn.renumber.parts import LookedInto
from keyturn.renumber.patterns import one_file
from keyturn.shop.file_names import safe_name
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import Kind, Reason, Refused, only, refuse

ROWS_NAMED = 6
"""A reason that holds for several rows names so many of them."""

Faults = Mapping[int, Sequence[Reason]]
"""The reasons of rows that cannot be made, by the row's number."""


@dataclass(frozen=True, slots=True)
class Fleet:
    """A drop's table: which columns fill which fields of the manifest, and what is to be told of all rows.

    `each_good`: the right rows are made where others are faulty.
    """

    table: FleetTable
    uses: Uses
    manifest_file: str
    each_good: bool
    found: Survey
    reasons: tuple[Reason, ...]

    def refused(self, faults: Faults, more: Iterable[Reason] = ()) -> Refused:
        """Return the refusal of these rows: every reason with the row and, where one is at fault, the cell."""
        reasons = dict.fromkeys([*self.reasons, *self._told(faults), *more])
        return Refused(reasons, root=self.found.root)

    def _told(self, faults: Faults) -> Iterator[Reason]:
        rows: dict[Reason, list[int]] = {}
        for number, reasons in faults.items():
            for reason in dict.fromkeys(only(reasons, Kind.REFUSE)):
                rows.setdefault(reason, []).append(number)
        for reason, numbers in rows.items():
            if self.columns(reason):
                yield from (self._at_cell(reason, number) for number in numbers)
            else:
                yield self._at_rows(reason, numbers)

    def columns(self, reason: Reason) -> tuple[int, ...]:
        """Return the columns that fill the field that the reason is about."""
        return self.uses.get(reason.field or "", ()) if reason.file in (None, self.manifest_file, FILE_NAME) else ()

    def _at_cell(self, reason: Reason, number: int) -> Reason:
        columns = self.columns(reason)
        names = ", ".join(f'"{self.table.columns[place]}"' for place in columns)
        cells = ", ".join(self.table.cell_name(number, place) for place in columns)
        told = {"what": f"row {number}, {names}: {reason.what}", "file": self.table.file, "field": cells}
        return reason.model_copy(update=told | _PAGES_HAVE_NO_FRAMES)

    def _at_rows(self, reason: Reason, numbers: Sequence[int]) -> Reason:
        if len(numbers) == len(self.table.rows):
            return reason.model_copy(update=_PAGES_HAVE_NO_FRAMES)
        rows = f"row {numbers[0]}" if len(numbers) == 1 else f"rows {_listed(numbers)}"
        return reason.model_copy(update={"what": f"{rows}: {reason.what}"} | _PAGES_HAVE_NO_FRAMES)


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join([*map(str, numbers[:ROWS_NAMED]), *(["..."] if numbers[ROWS_NAMED:] else [])])


_PAGES_HAVE_NO_FRAMES = {"exhibits": ()}
"""Rows have frames of the same radio and number: a rejects page could not tell them apart."""


@dataclass(frozen=True, slots=True)
class RightRow:
    """A row whose job can be made: its number in the table, the folders of its job, and what it says."""

    number: int
    customer_folder: str
    job_folder: str
    said: RowManifest


@dataclass(frozen=True, slots=True)
class FleetJobs:
    """The jobs of a fleet. `rows` give one each, `faults` are those of the others.

    Each job is planned once more when it is made: the plans of a thousand rows take more memory than a service has.
    """

    fleet: Fleet
    rows: tuple[RightRow, ...]
    faults: Faults
    frame_count: int
    reasons: tuple[Reason, ...]
    opened: OpenedDrop
    name: str
    art: FleetArt

    def job(self, row: RightRow, scratch: Path, bench: Bench) -> Job:
        """Return the job of a row, planned. `scratch` is a folder of its own."""
        said = row.said
        assert said.manifest is not None
        found, known = self.art.for_row(said.manifest)
        job = pipeline.planned(found, said.manifest, self.name, scratch, bench, said.reasons, known)
        own = [reason for reason in job.reasons if reason.code not in parts.UNUSED_CODES]
        reasons = tuple(dict.fromkeys([*self.reasons, *own]))
        return replace(job, found=self.opened.found, mends=self.opened.mends, row=row.number, reasons=reasons)

    def refused(self, faults: Faults) -> Refused:
        """Return the refusal of these rows."""
        return self.fleet.refused(faults)


def ordered(opened: OpenedDrop, name: str, scratch: Path, bench: Bench, *, good_alone: bool = False) -> Job | FleetJobs:
    """Return the job or the jobs that a drop orders. Raise `Refused` with all that was found.

    A table with faulty rows raises it too, unless at least one row is right and the right ones are to be made all the
    same: as job.toml says by `each_good`, or with `good_alone`.
    """
    one_job = opened.manifest is not None and not opened.manifest.each
    kib = bench.rules.intake.caps.manifest_kib
    written = None if one_job else reading.read_fleet(opened.found.root, max_kib=kib)
    if written is None:
        return pipeline.understand(opened, name, scratch, bench)
    fleet, rows = _fleet(opened, *written, bench)
    fleet = replace(fleet, each_good=fleet.each_good or good_alone)
    jobs = _Rows(fleet, opened, name, scratch, bench).looked_into(rows)
    if only(fleet.reasons, Kind.REFUSE) or (jobs.faults and not (fleet.each_good and jobs.rows)):
        refused = fleet.refused(jobs.faults)
        raise fleet.refused(jobs.faults, pipeline.broken_pictures(fleet.found, bench, refused.reasons))
    bench.progress.expect(jobs.frame_count)
    return jobs


def _fleet(
    opened: OpenedDrop, tables: Mapping[str, Any], file: str, reasons: Sequence[Reason], bench: Bench
) -> tuple[Fleet, list[RowManifest]]:
    """Return the table and what its rows say. Raise `Refused` where it cannot be read as a table."""
    found = opened.found
    told = [*opened.reasons, *found.reasons, *reasons]
    own_keys = {key: tables[key] for key in fleet_rows.OWN_KEYS if key in tables}
    said, wrong = reading.validated(own_keys, file)
    told += wrong
    if said is None or said.each is None:
        raise Refused(told, root=found.root)
    name, more = one_file(said.each, found.files, "fleet-missing", "name the table that lies beside job.toml", "each")
    told += more
    if name is None:
        raise Refused(told, root=found.root)
    try:
        table, more = fleet_table.read(found.root, name, bench.rules.intake.caps.rows)
    except Refused as refused:
        raise Refused([*told, *refused.reasons], root=found.root) from None
    rows, uses, of_all = fleet_rows.manifests(tables, table, file)
    return Fleet(table, uses, file, said.each_good, found, (*told, *more, *of_all)), rows


# -- the rows ---------------------------------------------------------------------------------------


@dataclass
class _Rows:
    """Looks into the rows of a fleet: is there all that a job needs?

    Rows that differ in names and words alone have one shape. The first of a shape is planned; of the others the art
    and the words are looked at.
    """

    fleet: Fleet
    opened: OpenedDrop
    name: str
    scratch: Path
    bench: Bench
    shapes: dict[str, int | Sequence[Reason]] = field(default_factory=dict)

    def looked_into(self, rows: Sequence[RowManifest]) -> FleetJobs:
        """Return the jobs of the rows, and what is wrong with the others."""
        files, unpacked = self._art_of_all()
        known = LookedInto.of(files, self.bench.rules.intake, self.bench.rules.kinds)
        art = FleetArt.of(files, known, (each.manifest for each in rows if each.manifest))
        found = {each.row.number: [*only(each.reasons, Kind.REFUSE)] for each in rows}
        for number, reason in _twins(rows, self.fleet, self.name):
            found[number].append(reason)
        frames = dict[int, int]()
        template_is_right = not only(self.fleet.reasons, Kind.REFUSE)
        for each in rows if template_is_right else ():
            self.bench.progress.check()
            wrong, frames[each.row.number] = self._of_row(each, art)
            found[each.row.number] += wrong
        faults = {number: reasons for number, reasons in found.items() if reasons}
        right = tuple(_row(each, self.name) for each in rows if each.row.number not in faults and each.manifest)
        reasons = (*self.fleet.reasons, *unpacked, *parts.unused(known.files, known.probes))
        count = sum(frames.get(row.number, 0) for row in right)
        return FleetJobs(self.fleet, right, faults, count, reasons, self.opened, self.name, art)

    def _art_of_all(self) -> tuple[Survey, list[Reason]]:
        """Return the files that the rows' art is chosen from: an archive beside job.toml is unpacked once for all."""
        files = tuple(name for name in self.fleet.found.files if name != self.fleet.table.file)
        return packed_art.with_packed_art(replace(self.fleet.found, files=files), self.scratch, self.bench.rules)

    def _of_row(self, each: RowManifest, art: FleetArt) -> tuple[Sequence[Reason], int]:
        """Return what is wrong with the row beside its own values, and how many frames its job has."""
        if each.manifest is None:
            return (), 0
        shape = _shape(each.manifest)
        alike = self.shapes.get(shape)
        if isinstance(alike, int):
            return self._of_words(each.manifest, art.found), alike
        if alike is not None and not any(map(self.fleet.columns, alike)):
            return alike, 0
        place = self.scratch / f"row-{each.row.number}"
        place.mkdir()
        try:
            files, known = art.for_row(each.manifest)
            job = pipeline.planned(files, each.manifest, self.name, place, self.bench, (), known)
        except Refused as refused:
            self.shapes[shape] = wrong = only(refused.reasons, Kind.REFUSE)
            return wrong, 0
        finally:
            shutil.rmtree(place)
        self.shapes[shape] = job.frame_count
        return (), job.frame_count

    def _of_words(self, manifest: Manifest, art: Survey) -> Sequence[Reason]:
        """Return what is wrong with the row's words, where the art of a row of the same shape is right."""
        rules = self.bench.rules
        panels = [radio.panel for name in manifest.radio if isinstance(radio := rules.radio(name), Radio)]
        return words_faults(manifest, panels, WordsBench(art, self.bench.fonts, rules.intake, self.bench.crew))


def _row(each: RowManifest, name: str) -> RightRow:
    assert each.manifest is not None
    return RightRow(each.row.number, safe_name(each.manifest.customer), safe_name(each.manifest.job or name), each)


def _shape(manifest: Manifest) -> str:
    """Return what is the same for manifests that differ in names and words alone."""
    tables = manifest.model_dump(mode="json", exclude=_NAMES)
    return json.dumps(_without_words(tables))


_NAMES = {"customer", "job", "artist", "vehicle", "vehicles", "language", "rush"}


def _without_words(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: (key == "text" and each is not None) or _without_words(each) for key, each in value.items()}
    return [_without_words(each) for each in value] if isinstance(value, list) else value


def _twins(rows: Sequence[RowManifest], fleet: Fleet, name: str) -> Iterator[tuple[int, Reason]]:
    """Refuse rows with the same customer and job: each would be taken for a revision of the other."""
    alike: dict[tuple[str, str], list[RowManifest]] = {}
    for each in rows:
        if each.manifest is not None:
            key = safe_name(each.manifest.customer), safe_name(each.manifest.job or name)
            alike.setdefault(key, []).append(each)
    for group in alike.values():
        for each in group if group[1:] else ():
            others = [other.row.number for other in group if other is not each]
            what = f"customer and job are those of row {others[0]}"
            if others[1:]:
                what = f"customer and job are those of rows {_listed(others)}"
            mend = 'name each job otherwise, in a column "job" or as in job = "{vehicle}"'
            yield each.row.number, refuse("fleet-rows-alike", what, mend, file=fleet.manifest_file, field="job")
