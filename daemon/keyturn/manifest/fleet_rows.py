"""The manifests of a fleet: the tables of job.toml with the cells of one row of `fleet.csv` filled in for each job.

A column named as a key of `KEY_COLUMNS` sets that key, where its cell holds anything. Any column's cell is put in the
place of {name} in the texts of job.toml; {{ and }} are braces.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from keyturn.manifest import reading
from keyturn.manifest.fleet_table import FleetRow, FleetTable
from keyturn.manifest.models import FILE_NAME, Manifest
from keyturn.shop.folding import folded
from keyturn.shop.reasons import Kind, Reason, note, only, refuse

KEY_COLUMNS = ("customer", "job", "radio", "artist", "background", "vehicle")
OWN_KEYS = ("each", "each_good")
"""Keys of job.toml that speak of the table. A row's job has none."""

IN_PLACE_OF = {"vehicle": "vehicles"}
"""A key that a column's key goes without."""

_BRACES = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]")

Uses = Mapping[str, tuple[int, ...]]
"""The columns that fill each field of the manifest, by its dotted key, as reasons name it."""


@dataclass(frozen=True, slots=True)
class RowManifest:
    """What a row says: its manifest, None where nothing can be understood, and what is wrong with or mended in it."""

    row: FleetRow
    manifest: Manifest | None
    reasons: tuple[Reason, ...]


@dataclass
class _Template:
    """The texts of job.toml, and which columns of the table each of them names."""

    table: FleetTable
    file: str
    reasons: list[Reason] = field(default_factory=list)
    used: set[int] = field(default_factory=set)

    def look(self, value: Any, place: tuple[str, ...] = ()) -> Iterator[tuple[str, tuple[int, ...]]]:
        """Yield the fields that name columns, with these; note the names without a column, and braces that stand
        alone."""
        if isinstance(value, str):
            if columns := tuple(dict.fromkeys(self._columns(value, ".".join(place)))):
                yield ".".join(place), columns
        elif isinstance(value, dict):
            for key, each in value.items():
                yield from self.look(each, (*place, str(key)))
        elif isinstance(value, list):
            for number, each in enumerate(value, 1):
                yield from self.look(each, (*place, str(number)))

    def _columns(self, text: str, place: str) -> Iterator[int]:
        for found in _BRACES.finditer(text):
            name = found[1]
            if found[0] in ("{{", "}}"):
                continue
            if name is None:
                what, mend = f'a brace stands alone in "{text[:80]}"', "double a brace that is meant as one: {{ or }}"
                self.reasons.append(refuse("fleet-brace", what, mend, file=self.file, field=place))
            elif (column := self.table.place(name)) is None:
                self.reasons.append(self._without_column(name, place))
            else:
                self.used.add(column)
                yield column

    def _without_column(self, name: str, place: str) -> Reason:
        near = difflib.get_close_matches(folded(name), [folded(column) for column in self.table.columns], n=1)
        there = ", ".join(filter(None, self.table.columns))
        mend = f"the columns are: {there[:200]}; {{{{ and }}}} are braces"
        if near and (like := self.table.place(near[0])) is not None:
            mend = f"did you mean {{{self.table.columns[like]}}}?"
        what = f"{{{name[:80]}}} names no column of {self.table.file}"
        return refuse("fleet-name-unknown", what, mend, file=self.file, field=place)


def manifests(
    tables: Mapping[str, Any], table: FleetTable, file: str = FILE_NAME
) -> tuple[list[RowManifest], Uses, list[Reason]]:
    """Return what each row says, the columns that fill each field, and what is wrong with or to be told of all rows.

    `tables` are those of the manifest `file`.
    """
    own = {key: value for key, value in tables.items() if key not in OWN_KEYS}
    template = _Template(table, file)
    uses = dict(template.look(own))
    keys = {key: place for key in KEY_COLUMNS if (place := table.place(key)) is not None}
    uses |= {key: (place,) for key, place in keys.items()}
    template.reasons += _unused(table, {*template.used, *keys.values()})
    if only(template.reasons, Kind.REFUSE):
        return [], uses, template.reasons
    return [_of_row(own, table, row, keys, file) for row in table.rows], uses, template.reasons


def _of_row(
    own: Mapping[str, Any], table: FleetTable, row: FleetRow, keys: Mapping[str, int], file: str
) -> RowManifest:
    filled = {key: _filled(value, table, row) for key, value in own.items()}
    for key, place in keys.items():
        if row.cells[place]:
            filled[key] = row.cells[place]
            filled.pop(IN_PLACE_OF.get(key, ""), None)
    manifest, reasons = reading.validated(filled, file)
    return RowManifest(row, manifest, tuple(reasons))


def _filled(value: Any, table: FleetTable, row: FleetRow) -> Any:
    """Return a value of job.toml with the row's cells in the place of names, and single braces for doubled ones."""
    if isinstance(value, str):
        return _BRACES.sub(lambda found: _in_place_of(found, table, row), value)
    if isinstance(value, dict):
        return {key: _filled(each, table, row) for key, each in value.items()}
    return [_filled(each, table, row) for each in value] if isinstance(value, list) else value


def _in_place_of(found: re.Match[str], table: FleetTable, row: FleetRow) -> str:
    place = table.place(found[1]) if found[1] is not None else None
    return found[0][0] if place is None else row.cells[place]


def _unused(table: FleetTable, used: Iterable[int]) -> list[Reason]:
    """Note the columns that fill nothing; one may be a misspelt key."""
    found = []
    for place in sorted(set(range(len(table.columns))).difference(used)):
        name, cell = table.columns[place], table.cell_name(table.header, place)
        if not name or not any(row.cells[place] for row in table.rows):
            continue
        near = difflib.get_close_matches(folded(name), KEY_COLUMNS, n=1)
        mend = f'did you mean "{near[0]}"?' if near else f"write {{{name[:80]}}} in {FILE_NAME} where it belongs"
        what = f'the column "{name[:80]}" is used nowhere'
        found.append(note("fleet-column-unused", what, mend, file=table.file, field=cell))
    return found
