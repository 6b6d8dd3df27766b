"""A fleet's table as spreadsheet programs save it; how it must look is RFC 4180's, and what Python's csv writes."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.manifest import fleet_table
from keyturn.manifest.fleet_table import FleetTable
from keyturn.shop.reasons import Reason, Refused
from samples import examples

VANS = [["customer", "job", "van"], ["Fern Hollow", "van-one", "Fern"], ["Fern Hollow", "van-two", "Łódź, Brücke"]]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fleets")


def read(tmp_path: Path, data: bytes, most: int = 1000) -> tuple[FleetTable, list[Reason]]:
    (tmp_path / "fleet.csv").write_bytes(data)
    return fleet_table.read(tmp_path, "fleet.csv", most)


def refused(tmp_path: Path, data: bytes, most: int = 1000) -> list[Reason]:
    with pytest.raises(Refused) as caught:
        read(tmp_path, data, most)
    return list(caught.value.reasons)


def written(rows: list[list[str]], **dialect: str) -> str:
    text = io.StringIO()
    csv.writer(text, "excel", **dialect).writerows(rows)  # type: ignore[arg-type]
    return text.getvalue()


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])
def test_the_same_rows_come_from_every_export(tmp_path: Path, delimiter: str, encoding: str) -> None:
    """Python's csv writes the dialect "excel"; a semicolon, a tab and UTF-16 are what spreadsheets save too."""
    table, _ = read(tmp_path, written(VANS, delimiter=delimiter).encode(encoding))
    assert table.columns == ("customer", "job", "van")
    assert [list(row.cells) for row in table.rows] == VANS[1:]
    assert [row.number for row in table.rows] == [2, 3]


def test_letters_of_an_old_code_page_are_told(tmp_path: Path) -> None:
    table, (told,) = read(tmp_path, "customer;job\r\nMüller;eins\r\n".encode("cp1252"))
    assert table.rows[0].cells == ("Müller", "eins")
    assert told.code == "manifest-encoding" and "Müller" in told.what


def test_line_breaks_in_quotes_do_not_end_a_row_and_become_blanks(tmp_path: Path) -> None:
    """RFC 4180, 2.6: fields with line breaks are enclosed in quotes. A spreadsheet counts rows, not lines."""
    data = b'customer,job\r\n"Fern\r\nHollow ""Library""",one\r\nAda,two\r\n'
    table, _ = read(tmp_path, data)
    assert table.rows[0].cells == ('Fern Hollow "Library"', "one")
    assert [row.number for row in table.rows] == [2, 3]
    assert table.cell_name(3, 1) == "B3"


def test_empty_rows_and_columns_that_a_spreadsheet_leaves_behind_are_nothing(tmp_path: Path) -> None:
    table, reasons = read(tmp_path, b"\xef\xbb\xbfcustomer;job;;\r\nAda;one;;\r\n;;;\r\nBea;two\r\n;;;\r\n\r\n")
    assert [(row.number, row.cells[:2]) for row in table.rows] == [(2, ("Ada", "one")), (4, ("Bea", "two"))]
    assert reasons == []


def test_a_first_line_may_say_what_parts_the_cells(tmp_path: Path) -> None:
    """Common practice of spreadsheet programs, no source."""
    table, _ = read(tmp_path, b"sep=;\r\ncustomer;job\r\nAda, of Fern;one\r\n")
    assert table.columns == ("customer", "job") and table.rows[0].cells == ("Ada, of Fern", "one")
    assert table.only([2]).startswith(b"\xef\xbb\xbfsep=;\n")


def test_cells_are_called_as_spreadsheets_call_them(tmp_path: Path) -> None:
    table, _ = read(tmp_path, written([[f"n{i}" for i in range(60)], ["x"] * 60]).encode())
    assert [table.cell_name(2, place) for place in (0, 25, 26, 51, 52)] == ["A2", "Z2", "AA2", "AZ2", "BA2"]


@pytest.mark.parametrize(
    ("data", "code", "field"),
    [
        (b"", "fleet-empty", None),
        (b"\r\n;;\r\n", "fleet-empty", None),
        (b"customer;job\r\n", "fleet-empty", None),
        (b"customer;job;Job\r\nAda;one;two\r\n", "fleet-header", "C1"),
        (b"customer;\r\nAda;one\r\n", "fleet-header", "B1"),
        (b"customer;{job}\r\nAda;one\r\n", "fleet-header", "B1"),
        (b"customer;job\r\nAda;one;two\r\n", "fleet-row-long", "row 2"),
        (b'customer;job\r\n"Ada"x;one\r\n', "fleet-unreadable", None),
        (b'customer;job\r\n"Ada;one\r\n', "fleet-unreadable", None),
        (b"PK\x03\x04\x14\0\x06\0xl/workbook.xml", "fleet-kind", None),
        (b"customer;job\r\n\0\1\2;one\r\n", "manifest-kind", None),
    ],
)
def test_what_is_no_table_is_refused_with_its_place(tmp_path: Path, data: bytes, code: str, field: str | None) -> None:
    (reason, *others) = refused(tmp_path, data)
    assert (reason.code, reason.field, reason.file, others) == (code, field, "fleet.csv", [])


def test_a_table_has_no_more_rows_than_the_rule_allows(tmp_path: Path) -> None:
    (reason,) = refused(tmp_path, written([["job"], *([str(i)] for i in range(31))]).encode(), 30)
    assert reason.code == "fleet-too-long" and "31 rows" in reason.what


def test_a_link_or_a_missing_file_is_no_table(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_bytes(b"job\r\none\r\n")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    for name in ("link.csv", "none.csv"):
        with pytest.raises(Refused, match="no ordinary file"):
            fleet_table.read(tmp_path, name, 1000)


def test_the_rows_that_are_left_come_back_as_they_were(tmp_path: Path) -> None:
    table, _ = read(tmp_path, b'customer;job;note\r\nAda;one;"=1+1\r\nthen"\r\nBea;two;\r\nCai;three;x')
    left, _ = read(tmp_path, table.only([2, 4]))
    assert [row.cells for row in left.rows] == [("Ada", "one", "=1+1 then"), ("Cai", "three", "x")]
    assert table.only([2]) == b'\xef\xbb\xbfcustomer;job;note\nAda;one;"=1+1\nthen"\n'


_CELLS = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zs", "Zl", "Zp")), max_size=8)


@settings(max_examples=examples(200), deadline=None)
@given(st.lists(st.tuples(_CELLS, _CELLS), min_size=1, max_size=8), st.sampled_from(",;\t"))
def test_any_cells_that_a_spreadsheet_writes_are_read_again(
    place: Path, rows: list[tuple[str, str]], delimiter: str
) -> None:
    """The writer is Python's csv."""
    data = written([["job", "van"], *map(list, rows)], delimiter=delimiter).encode("utf-8-sig")
    table, _ = read(place, data) if any("".join(row) for row in rows) else (None, [])
    if table is not None:
        wanted = [row for row in rows if any(row)]
        assert [row.cells for row in table.rows] == [tuple(map(fleet_table.composed, row)) for row in wanted]


@settings(max_examples=examples(300), deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_table_or_reasons(place: Path, data: bytes) -> None:
    try:
        read(place, data)
    except Refused as refused_:
        assert refused_.reasons
