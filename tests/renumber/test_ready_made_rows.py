"""The rows of a ready-made desc.txt as parts of a manifest."""

from __future__ import annotations

import pytest

from keyturn.radio.desc import Desc, parse
from keyturn.renumber.ready_made_rows import MOST_PARTS, parts_of_rows, row_folders
from keyturn.shop.reasons import Kind

FILES = ("desc.txt", "part0/0001.png", "part0/0002.png", "part1/0001.png", "part1/audio.wav")


def desc(rows: str) -> Desc:
    read = parse(f"48 64 10\n{rows}".encode()).desc
    assert read is not None
    return read


def codes(rows: str, files: tuple[str, ...] = FILES) -> dict[str, Kind]:
    return {r.code: r.kind for r in parts_of_rows(desc(rows), files, 10, "a.zip")[1]}


def test_counts_and_pauses_become_plays_and_seconds() -> None:
    """The format counts pauses in frames: 5 frames at 10 fps are half a second."""
    parts, reasons = parts_of_rows(desc("p 3 5 part0\np 0 0 part1\n"), FILES[:4], 10, "a.zip")
    assert [(p.art, p.plays, p.pause) for p in parts] == [("part0/*", 3, 0.5), ("part1/*", "until-booted", 0.0)]
    assert reasons == []


def test_more_plays_than_trusted_are_spread() -> None:
    parts, reasons = parts_of_rows(desc("p 23 0 part0\np 0 0 part1\n"), FILES[:4], 10, "a.zip")
    assert [p.plays for p in parts] == [10, 10, 3, "until-booted"]
    assert [(r.code, r.file) for r in reasons] == [("plays-spread", "a.zip")]
    assert codes(f"p {10 * MOST_PARTS + 1} 0 part0\np 0 0 part1\n")["plays-not-trusted"] is Kind.REFUSE


def test_rows_up_to_the_first_endless_one_count() -> None:
    rows = "p 1 0 part0\np 0 0 part1\np 1 0 part0\nc 1 0 part1\n"
    assert [(r.folder, r.files) for r in row_folders(desc(rows), FILES)] == [
        ("part0", ("0001.png", "0002.png")),
        ("part1", ("0001.png", "audio.wav")),
    ]
    assert {"rows-unreachable", "hold-taken-out", "sound-left-out"} <= codes(rows).keys()
    assert codes("p 1 0 part0\n") == {"hold-added": Kind.MENDED}


@pytest.mark.parametrize(
    ("row", "code", "kind"),
    [
        ("p 0 0 ./part0/", "row-path-mended", Kind.MENDED),
        ("p 0 0 part0\\", "row-path-mended", Kind.MENDED),
        ("p 0 0 ../part0", "row-outside", Kind.REFUSE),
        ("p 0 0 /part0", "row-outside", Kind.REFUSE),
        ("p 0 0 gone", "part-empty", Kind.REFUSE),
        ("p 0 -5 part0", "row-number", Kind.REFUSE),
        ("p 0 1000 part0", "pause-cut", Kind.MENDED),
        ("c 0 0 part0", "hold-taken-out", Kind.MENDED),
    ],
)
def test_what_is_wrong_with_a_row_is_told(row: str, code: str, kind: Kind) -> None:
    parts, reasons = parts_of_rows(desc(row + "\n"), FILES, 10, "a.zip")
    assert {r.code: r.kind for r in reasons}[code] is kind
    assert (parts == ()) == (kind is Kind.REFUSE)
