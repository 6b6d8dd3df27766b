"""Deflate streams, as Python's own zlib reads and writes them."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyturn.png import deflate
from keyturn.shop import fast_libraries

CONTENT = np.random.default_rng(1).integers(0, 12, 200_000, dtype=np.uint8).tobytes() + bytes(50_000)


@settings(deadline=None, max_examples=40)
@given(st.binary(max_size=3000))
def test_zlib_reads_what_is_packed(data: bytes) -> None:
    for pack in (deflate.of_grain, deflate.of_repeats):
        assert zlib.decompress(pack(data)) == data


def test_both_ways_hold_with_and_without_the_library(libraries: str) -> None:
    assert zlib.decompress(deflate.of_repeats(CONTENT)) == CONTENT
    assert deflate.crc32(CONTENT, 7) == zlib.crc32(CONTENT, 7)
    # PNG specification, third edition, 10.1: a window of at most 32 KiB; RFC 1950, 2.2: its first byte is 78.
    assert deflate.of_grain(CONTENT)[0] == deflate.of_repeats(CONTENT)[0] == 0x78


def test_grain_is_packed_to_the_same_bytes_by_either_library(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip(fast_libraries.DEFLATE)
    quickly = deflate.of_grain(CONTENT)
    monkeypatch.setattr(fast_libraries, "library", lambda name: None)
    assert quickly == deflate.of_grain(CONTENT)


def test_only_a_whole_sound_stream_of_the_right_length_is_taken(libraries: str) -> None:
    packed = zlib.compress(CONTENT)
    assert deflate.inflated(packed, len(CONTENT)) == CONTENT
    spoilt = packed[:-1] + bytes([packed[-1] ^ 1])  # the checksum of RFC 1950
    for data in (b"", b"junk", packed[:-1], packed[: len(packed) // 2], packed + b"\0", spoilt):
        assert deflate.inflated(data, len(CONTENT)) is None
    assert deflate.inflated(packed, len(CONTENT) - 1) is None
    assert deflate.inflated(packed, len(CONTENT) + 1) is None


def test_a_stream_that_would_grow_without_end_is_let_go(libraries: str) -> None:
    assert deflate.inflated(zlib.compress(bytes(50_000_000)), 1000) is None
