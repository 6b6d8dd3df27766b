"""Single lines of desc.txt against C's own sscanf, and the traps in a line."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.radio.desc_lines import PATH_MAX, DescLine, file_faults, lines
from radio.sscanf import LINE, read_by_c
from samples import examples


def line_of(text: bytes) -> DescLine:
    (line,) = lines(text + b"\n")
    return line


@settings(max_examples=examples(1000), deadline=None)
@given((LINE | st.binary(max_size=40)).filter(lambda text: b"\n" not in text and b"\0" not in text))
def test_a_line_is_a_size_a_row_or_neither_as_for_c(text: bytes) -> None:
    size, rows = read_by_c(text + b"\n")
    line = line_of(text)
    assert line.size == size
    assert (line.row is not None) == bool(rows)
    if line.row:
        kind, count, pause, path, _ = rows[0]
        assert (line.row.count, line.row.pause) == (count, pause)
        assert line.row.type == kind.decode("utf-8", "backslashreplace")
        assert line.row.path == path.decode("utf-8", "backslashreplace")
    assert line.blank == (not text.strip())


@settings(max_examples=examples(300), deadline=None)
@given(st.lists(LINE, max_size=5), st.booleans())
def test_lines_are_numbered_and_one_that_is_not_ended_is_dropped_and_told(texts: list[bytes], ended: bool) -> None:
    data = b"\n".join(texts) + b"\n" * ended
    seen = lines(data)
    before_nul = data.split(b"\0")[0]  # the player's text ends there
    terminated = before_nul.count(b"\n")
    assert [line.number for line in seen] == list(range(1, terminated + 1))
    told = [fault.line for fault in file_faults(data) if fault.code == "row-unterminated"]
    dropped = bool(before_nul.rsplit(b"\n", 1)[-1].strip())
    assert told == [terminated + 1] * dropped


@pytest.mark.parametrize(
    ("data", "codes"),
    [
        (b"p 1 0 part0\n", []),
        (b"\xef\xbb\xbf768 1024 30\n", ["byte-order-mark"]),
        (b"768 1024 30\0\n", ["zero-bytes", "row-unterminated"]),
        (b"768 1024 30\r\n", ["line-endings"]),
        (b"768 1024 30\r", ["line-endings", "row-unterminated"]),
    ],
)
def test_traps_of_the_file_as_bytes(data: bytes, codes: list[str]) -> None:
    assert [fault.code for fault in file_faults(data)] == codes


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        (b"768 1024 30", []),
        (b"768 1024 29.97", ["size-rest"]),
        (b"", []),
        (b"   ", []),
        (b"hello", ["row-not-understood"]),
        (b"p 1 0 part0", []),
        (b"p 1 0 part0 #0b1d2a", []),
        (b"p 1 0 part0 #0b1d2", ["colour-odd"]),
        (b"p 1 0 my part", ["row-rest"]),
        (b"q 1 0 part0", ["type-unknown"]),
        (b"f 1 0 part0 8 #ff0000", []),  # a fade length, newest firmware; from memory
        (b"p 1 0 " + b"x" * PATH_MAX, []),
        (b"p 1 0 " + b"x" * (PATH_MAX + 1), ["path-too-long"]),
        (b"p 1 0 a/../b", ["path-never-found"]),
        ("p 1 0 früh".encode(), ["path-not-ascii"]),
    ],
)
def test_traps_of_a_line(text: bytes, codes: list[str]) -> None:
    line = line_of(text)
    assert [fault.code for fault in line.faults] == codes
    assert {fault.line for fault in line.faults} <= {1}


@pytest.mark.parametrize(
    ("digits", "value"),
    [
        (b"2147483647", 2**31 - 1),
        (b"2147483648", -(2**31)),  # ISO C 7.21.6.2 leaves it open; glibc keeps the low 32 bits
        (b"4294967297", 1),
        (b"9" * 40, -1),
        (b"-" + b"9" * 40, 0),
        (b"+007", 7),
    ],
)
def test_numbers_too_large_for_an_int_wrap_as_in_c(digits: bytes, value: int) -> None:
    text = b"p " + digits + b" 0 part0"
    assert read_by_c(text + b"\n")[1][0][1] == value
    row = line_of(text).row
    assert row is not None and row.count == value
