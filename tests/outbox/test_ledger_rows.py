"""Rows of the ledger become records, and the same row the same record."""

from __future__ import annotations

from keyturn.outbox import ledger_rows
from keyturn.outbox.ledger_rows import SameRows, Standing
from keyturn.shop.state_records import VehicleLine

MADE = ("C", "van", 2, '["wide", "tall"]', "c/van-r2", "2026-03-01T09:00:00+00:00", "held.webp", '["Van 1"]')
ROW = (*MADE, "20260301T090000-abcdef-vans", "vans", 7)


def test_the_row_of_a_revision_tells_its_radios_and_its_picture() -> None:
    made = ledger_rows.ready(ROW)
    assert (made.radios, made.picture, made.revision) == (("wide", "tall"), "held.webp", 2)
    assert made.vehicles == ("Van 1",)
    assert (made.claim, made.drop, made.row) == ("20260301T090000-abcdef-vans", "vans", 7)


def test_a_row_that_was_there_the_last_time_gives_the_same_object() -> None:
    rows = SameRows(ledger_rows.ready)
    (first,) = rows.of([ROW])
    other = ("D", *ROW[1:])
    again = rows.of([other, ROW])
    assert again[1] is first and again[0].customer == "D"
    rows.of([other])
    assert rows.of([ROW])[0] is not first, "what is gone is not kept"


def test_a_standing_survives_its_row() -> None:
    standing = Standing("stick", "2026-03-01T09:00:00+00:00", "yes", 1, 1)
    assert Standing(*ledger_rows.standing_row(standing)) == standing


def test_the_lines_of_vehicles_survive_their_text() -> None:
    lines = (
        VehicleLine(name="Wóz 1", place="fit", since="2026-03-01T09:00:00+00:00", said="on VAN"),
        VehicleLine(name="2"),
    )
    assert ledger_rows.vehicle_lines(ledger_rows.lines_text(lines)) == lines
    assert ledger_rows.lines_text(()) == "" and ledger_rows.vehicle_lines("") == ()
