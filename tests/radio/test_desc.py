"""desc.txt against C's own sscanf, and the traps people fall into."""

import ctypes
import ctypes.util
import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.desc import Desc, Row, parse, write

LIBC = ctypes.CDLL(ctypes.util.find_library("c") or "libc.so.6")
GOOD = b"768 1024 30\np 1 15 part0\np 0 0 part1 #0b1d2a\n"


def read_by_c(data: bytes) -> tuple[tuple[int, int, int] | None, list[tuple[bytes, int, int, bytes, bytes]]]:
    """The player's loop over the lines with the C library's sscanf.

    Formats from the published format description (Android Open Source Project, frameworks/base,
    cmds/bootanimation), written down from memory.
    """
    size, rows = None, []
    text = ctypes.create_string_buffer(data).value  # as C sees it: up to the first zero byte
    while b"\n" in text:
        line, _, text = text.partition(b"\n")
        width, height, fps = (ctypes.c_int(0) for _ in range(3))
        refs = [ctypes.byref(n) for n in (width, height, fps)]
        if LIBC.sscanf(line, b"%d %d %d", *refs) == 3:
            size = (width.value, height.value, fps.value)
            continue
        kind, path, colour = ctypes.c_char(), ctypes.create_string_buffer(256), ctypes.create_string_buffer(7)
        count, pause, end = ctypes.c_int(0), ctypes.c_int(0), ctypes.c_int(0)
        numbers = [ctypes.byref(count), ctypes.byref(pause)]
        got = LIBC.sscanf(line, b" %c %d %d %255s%n", ctypes.byref(kind), *numbers, path, ctypes.byref(end))
        if got >= 4:
            if kind.value != b"f":
                LIBC.sscanf(line[end.value :], b" #%6s", colour)
            rows.append((kind.value, count.value, pause.value, path.value, colour.value))
    return size, rows


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


SPACE = st.sampled_from([b" ", b" ", b" ", b"  ", b"\t", b"\r", b"\v", b"\f", b""])
NUMBER = st.one_of(
    st.integers(-3, 2000).map(lambda n: str(n).encode()),
    st.integers(-(2**70), 2**70).map(lambda n: str(n).encode()),
    st.sampled_from([b"+5", b"-0", b"007", b"0x10", b"29.97", b"1e3", b"--1", b"+", b"", b"9" * 40, b"0" * 30 + b"7"]),
)
WORD = st.one_of(
    st.sampled_from([b"p", b"c", b"f", b"part0", b"a/b", b"/", b"#0b1d2a", b"#12", b"#12345g", b"x" * 255, b"y" * 256]),
    st.binary(min_size=1, max_size=6),
)
TOKENS = st.lists(st.tuples(st.one_of(NUMBER, WORD), SPACE), max_size=7)
FREE_LINE = TOKENS.map(lambda pairs: b"".join(word + space for word, space in pairs))
SIZE_LINE = st.lists(st.tuples(NUMBER, SPACE), min_size=3, max_size=3).map(lambda ps: b"".join(a + b for a, b in ps))
ROW_LINE = st.tuples(
    st.sampled_from([b"p", b"c", b"f", b"z"]), NUMBER, NUMBER, WORD, WORD, st.lists(SPACE, min_size=5)
).map(lambda t: b"".join(word + space for word, space in zip(t[:5], t[5], strict=False)))
LINE = st.one_of(FREE_LINE, SIZE_LINE, ROW_LINE, ROW_LINE, st.just(b"768 1024 30"))
FILES = st.tuples(st.lists(LINE, max_size=6), st.sampled_from([b"\n", b"\n", b"\r\n"]), st.booleans()).map(
    lambda t: t[1].join(t[0]) + (t[1] if t[2] else b"")
)


@settings(max_examples=1500, deadline=None)
@given(FILES)
def test_reads_what_c_s_sscanf_reads(data: bytes) -> None:
    agrees(data)


@settings(max_examples=800, deadline=None)
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


@settings(max_examples=300, deadline=None)
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
