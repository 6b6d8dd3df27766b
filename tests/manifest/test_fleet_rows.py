"""One manifest a row: keys by their columns, {names} in texts, and braces that are meant as braces."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.manifest import fleet_rows, fleet_table
from keyturn.manifest.fleet_rows import RowManifest
from keyturn.shop.reasons import Kind, Reason, only

JOB = """
each = "fleet.csv"
artist = "Ines"
job = "{van}-lamps"
[[part]]
art = "lamps/{lamp}.png"
[[part]]
[part.glide]
frames = 4
text = "{{{owner}}} drives {Van}"
path = [[0.5, 0.5]]
"""
TABLE = "customer;radio;van;owner;lamp\nAda;tiny;van-one;Ada B.;1\nBea;tiny;van-two;{x};2\n"


def said(tmp_path: Path, job: str, table: str) -> tuple[list[RowManifest], dict[str, Any], list[Reason]]:
    (tmp_path / "fleet.csv").write_text(table, encoding="utf-8")
    read, _ = fleet_table.read(tmp_path, "fleet.csv", 1000)
    rows, uses, reasons = fleet_rows.manifests(tomllib.loads(job), read)
    return rows, dict(uses), reasons


def test_columns_are_keys_and_names(tmp_path: Path) -> None:
    """`str.format` of Python writes the same text from the same braces."""
    rows, uses, reasons = said(tmp_path, JOB, TABLE)
    ada, bea = (row.manifest for row in rows)
    assert ada and bea and not reasons
    assert (ada.customer, ada.radio, ada.job, ada.artist) == ("Ada", ("tiny",), "van-one-lamps", "Ines")
    assert ada.part[0].art == "lamps/1.png"
    texts = [manifest.part[1].glide.text for manifest in (ada, bea) if manifest.part[1].glide]
    pattern = tomllib.loads(JOB)["part"][1]["glide"]["text"]
    cells = [{"owner": "Ada B.", "Van": "van-one"}, {"owner": "{x}", "Van": "van-two"}]
    assert texts == [pattern.format(**names) for names in cells]
    assert uses["part.1.art"] == (4,) and uses["part.2.glide.text"] == (3, 2) and uses["customer"] == (0,)


def test_a_cell_goes_before_the_manifest_and_an_empty_one_does_not(tmp_path: Path) -> None:
    job = 'each = "fleet.csv"\ncustomer = "Fern"\nradio = ["tiny", "wide"]\nbackground = "#102030"\n'
    job += 'vehicles = ["a", "b"]\n'
    rows, _, _ = said(tmp_path, job, "job;radio;background;vehicle\none;;navy;\ntwo;tiny;;Van 2\n")
    one, two = (row.manifest for row in rows)
    assert one and (one.radio, one.background, one.vehicles) == (("tiny", "wide"), "#000080", ("a", "b"))
    assert two and (two.radio, two.background, two.every_vehicle) == (("tiny",), "#102030", ("Van 2",))


def test_names_without_a_column_are_told_with_the_nearest_one(tmp_path: Path) -> None:
    _, _, reasons = said(tmp_path, JOB.replace("{owner}", "{ownr}").replace("{lamp}", "{zzz}"), TABLE)
    refused = {reason.field: reason for reason in only(reasons, Kind.REFUSE)}
    assert set(refused) == {"part.1.art", "part.2.glide.text"}
    assert "{ownr} names no column" in refused["part.2.glide.text"].what
    assert refused["part.2.glide.text"].mend == "did you mean {owner}?"
    assert "{{ and }}" in refused["part.1.art"].mend


@pytest.mark.parametrize("text", ["{", "}", "a } b", "{van}}", "{a{van}"])
def test_a_brace_that_stands_alone_is_told(tmp_path: Path, text: str) -> None:
    _, _, reasons = said(tmp_path, JOB.replace("{van}-lamps", text), TABLE)
    assert ("fleet-brace", "job") in {(reason.code, reason.field) for reason in reasons}


def test_a_row_with_faulty_cells_has_reasons_and_the_others_have_none(tmp_path: Path) -> None:
    table = TABLE + ";tiny;van-three;Cai;3\nDan;tiny;;Dan;4\nEve;tiny;van-five;Eve;../../etc/5\n"
    rows, _, _ = said(tmp_path, JOB.replace("{van}-lamps", "{van}"), table)
    faulty = {row.row.number: [reason.field for reason in only(row.reasons, Kind.REFUSE)] for row in rows}
    assert faulty == {2: [], 3: [], 4: ["customer"], 5: ["job"], 6: ["part.1.art"]}


def test_a_column_that_is_used_nowhere_may_be_a_misspelt_key(tmp_path: Path) -> None:
    rows, _, notes = said(tmp_path, JOB, TABLE.replace("customer", "custommer"))
    (told,) = notes
    assert (told.code, told.kind, told.field, told.mend) == (
        "fleet-column-unused",
        "note",
        "A1",
        'did you mean "customer"?',
    )
    assert all("customer" in {reason.field for reason in row.reasons} for row in rows)


@given(st.text(max_size=40))
def test_any_text_is_filled_as_python_formats_it_or_told(text: str) -> None:
    """The judge is `string.Formatter` of Python, whose braces are these; its field names may hold more."""
    import string

    table = fleet_table.FleetTable("fleet.csv", ("van",), (fleet_table.FleetRow(2, ("{one}",), ""),), "")
    template = fleet_rows._Template(table, "job.toml")
    list(template.look(text))
    if template.reasons:
        return
    try:
        wanted = string.Formatter().vformat(text, (), {"van": "{one}"})
    except (KeyError, ValueError, IndexError):
        assert template.used, "a name that only we take: with blanks, or in capitals"
        return
    assert fleet_rows._filled(text, table, table.rows[0]) == wanted
