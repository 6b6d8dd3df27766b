"""The code on each picture of a stick."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from keyturn.calibrate import film_code
from keyturn.calibrate.film_code import BITS, Code
from keyturn.calibrate.stick_plan import OVER

CODES = st.builds(Code, st.integers(1, 60), st.booleans(), st.integers(0, OVER))


@given(CODES)
def test_a_code_is_read_back(code: Code) -> None:
    assert film_code.code(film_code.bits(code)) == code


def test_the_check_is_that_of_the_standard() -> None:
    """ITU-T V.41's polynomial from 0xFFFF, divided out bit by bit."""
    bits = film_code.bits(Code(10, False, 188))
    left = 0xFFFF
    for bit in bits[:24]:
        left = (left << 1) ^ (0x1021 if bool(bit) != bool(left & 0x8000) else 0)
        left &= 0xFFFF
    assert int("".join("01"[int(bit)] for bit in bits[24:]), 2) == left


@pytest.mark.parametrize("wrong", [1, 2, 3])
def test_up_to_three_wrong_bits_are_found(wrong: int) -> None:
    """All patterns of so many wrong bits: the CRC is linear, so those of one code are those of all."""
    bits = film_code.bits(Code(10, False, 188))
    for places in itertools.combinations(range(BITS), wrong):
        spoiled = bits.copy()
        spoiled[list(places)] ^= True
        assert film_code.code(spoiled) is None


@given(CODES, st.integers(0, 1000))
def test_a_blend_of_two_frames_in_sequence_reads_as_one_of_them_or_not_at_all(code: Code, seed: int) -> None:
    """Where the two differ, each bit reads either way."""
    following = Code(code.fps, code.by_eye, min(code.number + 1, OVER))
    one, other = film_code.bits(code), film_code.bits(following)
    assert (one[:24] != other[:24]).sum() <= 1  # Gray code
    for either in np.random.default_rng(seed).random((20, BITS)) < 0.5:
        assert film_code.code(np.where(either, one, other)) in (code, following, None)


@pytest.mark.parametrize("bits", [np.zeros(BITS, bool), np.ones(BITS, bool)])
def test_a_picture_without_a_code_states_none(bits: np.ndarray) -> None:
    assert film_code.code(bits) is None


@pytest.mark.parametrize(("fps", "number"), [(0, 1), (61, 1), (10, -1), (10, 1 << 14)])
def test_what_the_bits_cannot_hold_is_not_coded(fps: int, number: int) -> None:
    with pytest.raises(ValueError, match="cannot be coded"):
        Code(fps, False, number)
