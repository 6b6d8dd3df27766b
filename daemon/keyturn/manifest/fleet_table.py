"""The table of a fleet, `fleet.csv`: one job a row, as spreadsheet programs save it.

RFC 4180 says how commas, quotes and line breaks are written. Spreadsheet programs write semicolons where the comma is
the decimal sign, and "Unicode text" as UTF-16 with tabs; common practice, no source.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from keyturn.manifest import file_text
from keyturn.shop import durable_files
from keyturn.shop.folding import composed, folded, plain_spaces
from keyturn.shop.reasons import Kind, Reason, Refused, only, refuse

MOST_BYTES = 8 * 2**20
"""A larger file is no table of a fleet: 1,000 rows with 20 names take 0.4 MB."""

DELIMITERS = ",;\t"
_SAID = re.compile(r'"?sep=([,;\t])"?', re.IGNORECASE)
"""A first line that says how cells are parted: spreadsheet programs write and read it; common practice, no source."""

AS_CSV = "open it in the program it was made with and save it as CSV (UTF-8)"
_SPREADSHEET = re.compile(rb"PK\x03\x04|\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
"""First bytes of a spreadsheet program's own files: zips (APPNOTE.TXT 4.3.7), and compound files (MS-CFB 2.2)."""


@dataclass(frozen=True, slots=True)
class FleetRow:
    """One row: its number as a spreadsheet counts it, the header being 1, its cells, and its text in the file."""

    number: int
    cells: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class FleetTable:
    """The rows that are not empty. `columns` are the header's names; a column without one is "". `head` is the text
    above the rows, whose last row, number `header`, is the header."""

    file: str
    columns: tuple[str, ...]
    rows: tuple[FleetRow, ...]
    head: str
    header: int = 1

    def place(self, column: str) -> int | None:
        """Return the index of the column with this name, however it is written; None where there is none."""
        names = [folded(name) for name in self.columns]
        return names.index(folded(column)) if folded(column) in names else None

    def cell_name(self, row: int, place: int) -> str:
        """Return what a spreadsheet calls the cell: C7."""
        return f"{_letters(place)}{row}"

    def only(self, numbers: Iterable[int]) -> bytes:
        """Return the file with these rows alone, as UTF-8 with a byte-order mark, which every spreadsheet reads."""
        wanted = set(numbers)
        rows = (row.text for row in self.rows if row.number in wanted)
        lines = (text if text.endswith("\n") else f"{text}\n" for text in (self.head, *rows))
        return "".join(lines).encode("utf-8-sig")


def read(root: Path, name: str, most_rows: int) -> tuple[FleetTable, list[Reason]]:
    """Return the table in the file `name` of the drop, and what was mended. Raise `Refused` with all that is wrong
    with it as a table: what its cells hold is not looked at."""
    data = durable_files.read_plain(root / name, MOST_BYTES)
    if data is None:
        raise _refused("fleet-kind", "is no ordinary file, or larger than 8 MiB", "save it once more as CSV", name)
    if _SPREADSHEET.match(data):
        raise _refused("fleet-kind", "is a spreadsheet program's own file, not CSV", AS_CSV, name)
    text, reasons = file_text.decoded(data, name)
    return _parsed(text, name, most_rows, reasons)


def _parsed(text: str, name: str, most_rows: int, reasons: list[Reason]) -> tuple[FleetTable, list[Reason]]:
    head, records = _records(text, name)
    above = next((n for n, record in enumerate(records, 1) if any(map(str.strip, record.cells))), 0)
    if not above:
        raise _refused("fleet-empty", "is empty", "write the names of the columns in its first row", name)
    head += "".join(record.text for record in records[:above])
    columns = tuple(map(_one_line, records[above - 1].cells))
    rows = tuple(_tidy(record) for record in records[above:] if any(map(str.strip, record.cells)))
    table = FleetTable(name, columns, tuple(_as_long(row, len(columns)) for row in rows), head, above)
    reasons += _header_faults(table, rows)
    if not rows:
        reasons.append(refuse("fleet-empty", "has no row below its header", "write one row for each job", file=name))
    if len(rows) > most_rows:
        what = f"has {len(rows):,} rows"
        reasons.append(refuse("fleet-too-long", what, f"make it at most {most_rows:,}, or several drops", file=name))
    if only(reasons, Kind.REFUSE):
        raise Refused(reasons)
    return table, reasons


def _records(text: str, name: str) -> tuple[str, list[FleetRow]]:
    """Return the line that says how cells are parted, if any, and every record with its number."""
    lines = list(io.StringIO(text, newline="\n"))
    said = _SAID.fullmatch(lines[0].strip("\n")) if lines else None
    head = lines.pop(0) if said else ""
    delimiter = said[1] if said else _delimiter(lines)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    records: list[FleetRow] = []
    first = 0
    try:
        for cells in reader:
            records.append(FleetRow(len(records) + 1, tuple(cells), "".join(lines[first : reader.line_num])))
            first = reader.line_num
    except csv.Error:
        what = f"row {len(records) + 1} cannot be read: a quote stands alone, or a cell is endless"
        mend = 'put a cell with a quote in quotes, and double the quote: "the ""Fern"""'
        raise Refused([refuse("fleet-unreadable", what, mend, file=name)]) from None
    return head, records


def _delimiter(lines: list[str]) -> str:
    """Return what parts the cells of the header; a comma where it has one cell."""
    header = re.sub(r'"[^"]*"', "", next((line for line in lines if line.strip()), ""))
    return max(DELIMITERS, key=header.count)


def _one_line(cell: str) -> str:
    """Return the cell with one blank for each stretch of blanks and line breaks: a job's words are lines."""
    return " ".join(plain_spaces(composed(cell)).split())


def _tidy(record: FleetRow) -> FleetRow:
    return FleetRow(record.number, tuple(map(_one_line, record.cells)), record.text)


def _as_long(row: FleetRow, columns: int) -> FleetRow:
    cells = (*row.cells, *("",) * (columns - len(row.cells)))
    return FleetRow(row.number, cells[:columns], row.text)


def _header_faults(table: FleetTable, rows: tuple[FleetRow, ...]) -> list[Reason]:
    """Refuse names that stand twice, columns without a name, and rows that are longer than the header."""
    found, known = list[Reason](), dict[str, str]()
    for place, name in enumerate(table.columns):
        cell = table.cell_name(table.header, place)
        filled = next((row for row in rows if len(row.cells) > place and row.cells[place]), None)
        if not name and filled is not None:
            what = f"is no name, and row {filled.number} has something below it"
            mend = "name the column in the first row, or empty it"
            found.append(refuse("fleet-header", what, mend, file=table.file, field=cell))
        if name and folded(name) in known:
            what = f'the column "{name[:80]}" stands twice: in {known[folded(name)]} too'
            found.append(refuse("fleet-header", what, "keep one of them", file=table.file, field=cell))
        if re.search(r"[{}]", name):
            what, mend = f'"{name[:80]}" has braces in its name', "leave them out: only job.toml writes {name}"
            found.append(refuse("fleet-header", what, mend, file=table.file, field=cell))
        known.setdefault(folded(name), cell)
    for row in rows:
        if any(row.cells[len(table.columns) :]):
            what = f"row {row.number} has {len(row.cells)} cells and the header {len(table.columns)}"
            mend = "put a cell in quotes that holds what parts the cells, or name the column"
            found.append(refuse("fleet-row-long", what, mend, file=table.file, field=f"row {row.number}"))
    return found


def _letters(place: int) -> str:
    """Return a column's letters as spreadsheets write them: A to Z, then AA."""
    letters = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return letters


def _refused(code: str, what: str, mend: str, file: str) -> Refused:
    return Refused([refuse(code, what, mend, file=file)])
