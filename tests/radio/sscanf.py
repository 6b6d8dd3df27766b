"""desc.txt as C's own sscanf reads it, and bytes to try it on."""

from __future__ import annotations

import ctypes
import ctypes.util

from hypothesis import strategies as st

LIBC = ctypes.CDLL(ctypes.util.find_library("c") or "libc.so.6")


def read_by_c(data: bytes) -> tuple[tuple[int, int, int] | None, list[tuple[bytes, int, int, bytes, bytes]]]:
    """Read a file as the player does, with the C library's sscanf on each line; return the size and the rows.

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
