"""desc.txt against C's own sscanf, and the traps people fall into."""

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.desc import Desc, Row, parse, write
from keyturn.radio.timeline import Pacing, PlayedPart
from radio.literal_loop import LiteralLoop
from radio.sscanf import FILES, read_by_c
from samples import examples

GOOD = b"768 1024 30\np 1 15 part0\np 0 0 part1 #0b1d2a\n"


def agrees(data: bytes) -> None:
    size, rows = read_by_c(data)
    desc = parse(data).desc
    if size is None or min(size) <= 0:
        assert desc is None
        return
    assert desc is not None
    assert (desc.width, desc.height, desc.fps) == size
    assert len(desc.rows) == len(rows)
    for ours, (kind, count, pause, path, colour) in zip(desc.rows, rows, strict=True):
        assert ours.type == (kind.decode() if kind in (b"c", b"f") else "p")
        assert (ours.count, ours.pause) == (count, pause)
        assert ours.path == path.decode("utf-8", "backslashreplace")
        if kind != b"f":
            is_colour = len(colour) == 6 and all(chr(c) in string.hexdigits for c in colour)
            assert ours.colour == (f"#{colour.decode()}" if is_colour else None)


@settings(max_examples=examples(1500), deadline=None)
@given(FILES)
def test_reads_what_c_s_sscanf_reads(data: bytes) -> None:
    agrees(data)


@settings(max_examples=examples(800), deadline=None)
@given(st.binary(max_size=80))
def test_any_bytes_at_all_are_read_as_c_reads_them(data: bytes) -> None:
    agrees(data)


ROWS = st.builds(
    Row,
    type=st.sampled_from(["p", "c", "f"]),
    count=st.integers(0, 10),
    pause=st.integers(0, 500),
    path=st.text(string.ascii_letters + string.digits + "_-", min_size=1, max_size=20),
    colour=st.none() | st.from_regex(r"#[0-9a-f]{6}", fullmatch=True),
)


@settings(max_examples=examples(300), deadline=None)
@given(st.builds(Desc, *[st.integers(1, 4096)] * 2, st.integers(1, 60), st.lists(ROWS, min_size=1).map(tuple)))
def test_what_is_written_is_read_back_by_us_and_by_c(desc: Desc) -> None:
    data = write(desc)
    assert parse(data).desc == desc
    size, rows = read_by_c(data)
    assert size == (desc.width, desc.height, desc.fps)
    assert [(kind.decode(), count, pause, path.decode()) for kind, count, pause, path, _ in rows] == [
        (row.type, row.count, row.pause, row.path) for row in desc.rows
    ]


def test_a_good_file_has_no_faults() -> None:
    reading = parse(GOOD)
    assert reading.faults == ()
    assert reading.desc == Desc(768, 1024, 30, (Row("p", 1, 15, "part0"), Row("p", 0, 0, "part1", "#0b1d2a")))


@pytest.mark.parametrize(
    ("data", "code", "line"),
    [
        (GOOD[:-1], "row-unterminated", 3),
        (b"768 1024 30", "row-unterminated", 1),
        (b"\xef\xbb\xbf" + GOOD, "byte-order-mark", 1),
        (GOOD.decode().encode("utf-16"), "byte-order-mark", 1),
        (GOOD.decode().encode("utf-16"), "zero-bytes", 1),
        (GOOD.replace(b"\n", b"\r\n"), "line-endings", None),
        (GOOD.replace(b"\n", b"\r"), "line-endings", None),
        (b"p 1 0 part0\np 0 0 part1\n", "size-missing", None),
        (b"768x1024 30\np 0 0 part1\n", "size-missing", None),
        (b"768 1024 29.97\np 0 0 part1\n", "size-rest", 1),
        (b"768 1024 30 p 0 0 part0\n", "size-rest", 1),
        (b"# ours\n768 1024 30\np 0 0 part1\n", "size-not-first", 2),
        (b"768 1024 30\n1024 768 30\np 0 0 part1\n", "size-doubled", 2),
        (b"768 1024 0\np 0 0 part1\n", "size-odd", 1),
        (b"", "size-missing", None),
        (b"768 1024 30\n", "rows-missing", None),
        (b"768 1024 30\np 0 0 part0\np 1 0 part1\n", "row-unreachable", 3),
        (b"768 1024 30\np 0 0 part0\nc 1 0 part1\n", "row-after-boot", 3),
        (b"768 1024 30\np 11 0 part0\n", "count-not-trusted", 2),
        (b"768 1024 30\np -1 0 part0\n", "count-negative", 2),
        (b"768 1024 30\np 1 -5 part0\n", "pause-negative", 2),
        (b"768 1024 30\np 1 0.5 part0\n", "row-rest", 2),
        (b"768 1024 30\np part0\n", "row-not-understood", 2),
        (b"768 1024 30\nplay 1 0 part0\n", "row-not-understood", 2),
        (b"768 1024 30\nq 1 0 part0\n", "type-unknown", 2),
        (b"768 1024 30\np 1 0 my part\n", "row-rest", 2),
        (b"768 1024 30\np 1 0 part0 #12345\n", "colour-odd", 2),
        (b"768 1024 30\np 1 0 " + b"x" * 256 + b"\n", "path-too-long", 2),
        (b"768 1024 30\np 1 0 ./part0\n", "path-never-found", 2),
        (b"768 1024 30\np 1 0 part0/\n", "path-never-found", 2),
        (b"768 1024 30\np 1 0 /part0\n", "path-never-found", 2),
        (b"768 1024 30\np 1 0 a\\b\n", "path-never-found", 2),
        ("768 1024 30\np 1 0 früh\n".encode(), "path-not-ascii", 2),
    ],
)
def test_each_trap_is_named_with_its_line_and_a_remedy(data: bytes, code: str, line: int | None) -> None:
    agrees(data)
    found = {(fault.code, fault.line) for fault in parse(data).faults}
    assert (code, line) in found
    assert all(fault.what and fault.mend for fault in parse(data).faults)


@pytest.mark.parametrize(
    "data",
    [
        GOOD.replace(b"part0", b"x" * 255),
        GOOD.replace(b"p 1", b"p 10"),  # counts top out at 10: common practice, no source
        GOOD.replace(b"\n", b"\n\n"),
        b"\n" + GOOD,
        GOOD + b"  ",
        b"768 1024 30\nf 1 0 part0 8 #ff0000\np 0 0 part1\n",  # a fade length, newest firmware; from memory
    ],
)
def test_what_is_no_trap_is_not_reported(data: bytes) -> None:
    assert parse(data).faults == ()


def test_a_dropped_last_row_is_not_in_what_is_read() -> None:
    # AOSP format description: the player reads up to each newline
    desc = parse(GOOD[:-1]).desc
    assert desc is not None and [row.path for row in desc.rows] == ["part0"]


def test_a_shop_that_trusts_more_plays_says_so() -> None:
    data = b"768 1024 30\np 20 0 part0\n"
    assert parse(data, trusted_plays=20).faults == ()


PLAYED = st.builds(
    PlayedPart,
    type=st.sampled_from(["p", "c", "f"]),
    count=st.integers(0, 4),
    pause=st.integers(0, 5),
    frames=st.integers(1, 7),
)
PACING = Pacing(10, "fixed-beat")


@settings(max_examples=examples(500), deadline=None)
@given(st.lists(PLAYED, min_size=1, max_size=6))
def test_rows_said_to_be_unreachable_are_those_no_boot_ever_shows(parts: list[PlayedPart]) -> None:
    # one boot within every part and one after all the once-only ones: each way the loop can be left
    pauses = [PACING.pause_ns(part.pause) for part in parts]
    plays = [max(1, p.count) * (p.frames * PACING.rhythm.beat + pause) for p, pause in zip(parts, pauses, strict=True)]
    boots = [sum(plays[:i]) for i in range(len(parts) + 1)]
    players = [LiteralLoop(parts, PACING.rhythm, pauses, boot) for boot in boots]
    shown = {part for player in players for part, *_ in player.walk()}
    rows = tuple(Row(part.type, part.count, part.pause, f"part{i}") for i, part in enumerate(parts))
    faults = parse(write(Desc(768, 1024, 10, rows))).faults
    unreachable = {fault.line - 2 for fault in faults if fault.code == "row-unreachable" and fault.line}
    assert unreachable == set(range(len(parts))) - shown
