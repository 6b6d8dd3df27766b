"""trim.txt, against C's own sscanf."""

from __future__ import annotations

import ctypes

import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.radio.trim import Box, boxes, parse, write

SMALL = st.integers(0, 4096)
BOXES = st.builds(Box, SMALL, SMALL, SMALL, SMALL)


def as_c_reads(data: bytes) -> tuple[Box, ...]:
    """libc's sscanf with the player's pattern on every line that ends (AOSP cmds/bootanimation; from memory)."""
    sscanf = ctypes.CDLL(None).sscanf
    found = []
    for line in data.split(b"\0")[0].split(b"\n")[:-1]:
        values = [ctypes.c_int() for _ in range(4)]
        if sscanf(line, b"%dx%d+%d+%d", *map(ctypes.byref, values)) != 4:
            break
        found.append(Box(*(value.value for value in values)))
    return tuple(found)


@given(st.lists(BOXES, max_size=8))
def test_what_is_written_is_what_c_reads(made: list[Box]) -> None:
    data = write(made)
    assert as_c_reads(data) == tuple(made) == parse(data)
    assert data.isascii() and (not made or data.endswith(b"\n"))


LINES = st.lists(
    st.text("0123456789x+ -\t\r#a", max_size=14).map(str.encode) | BOXES.map(lambda box: str(box).encode()),
    max_size=6,
)


@given(LINES, st.booleans())
def test_anything_is_read_as_c_reads_it(lines: list[bytes], ended: bool) -> None:
    data = b"\n".join(lines) + b"\n" * ended
    assert parse(data) == as_c_reads(data)


@pytest.mark.parametrize("data", [b"", b"\n", b"48x64", b"48x64+0+0", b"48 x 64+0+0\n", b"\xff\xfe4\x008\x00"])
def test_a_line_that_is_none_or_not_ended_is_not_read(data: bytes) -> None:
    assert parse(data) == as_c_reads(data) == ()


def test_frames_without_a_line_are_whole() -> None:
    data = b"1x2+3+4\nthe rest\n5x6+7+8\n"
    assert boxes(data, 3, (48, 64)) == (Box(1, 2, 3, 4), Box(48, 64, 0, 0), Box(48, 64, 0, 0))
    assert boxes(data, 0, (48, 64)) == ()


def test_what_lies_within_a_panel() -> None:
    size = (48, 64)
    assert all(box.within(size) for box in (Box(48, 64, 0, 0), Box(1, 1, 47, 63), Box(1, 1, 0, 0)))
    outside = (Box(0, 1, 0, 0), Box(1, 0, 0, 0), Box(2, 1, 47, 0), Box(1, 2, 0, 63), Box(1, 1, -1, 0), Box(1, 1, 0, -1))
    assert not any(box.within(size) for box in outside)
