"""The code on each picture of a calibration stick: 40 bits that state a number and what stick it is.

10 bits say the rate (6) and the kind of stick (4), 14 bits the number in Gray code, and 16 bits are their CRC.

- Gray code (Gray, US patent 2,632,058): numbers in sequence differ in one bit. Where a film frame holds a blend of two
  frames in sequence, its number bits therefore read as one of these two and never as a third.
- The CRC of ITU-T V.41, x^16 + x^12 + x^5 + 1, from 0xFFFF, as `binascii.crc_hqx` computes it. Up to 32,751 bits any
  three wrong ones are found (Koopman and Chakravarty 2004, "Cyclic redundancy code polynomial selection for embedded
  networks"), and of all other mistakes one in 65,536 is missed.
"""

from __future__ import annotations

from binascii import crc_hqx
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BITS = 40
FASTEST = 60
"""Highest rate that a code states, in frames a second."""

_KINDS = {False: 0b0110, True: 0b1001}
"""By whether the stick is for reading by eye. They differ in all four bits."""


@dataclass(frozen=True, slots=True)
class Code:
    """What a code states: the stick's rate, whether it is for the eye, and the number (see `stick_plan`)."""

    fps: int
    by_eye: bool
    number: int

    def __post_init__(self) -> None:
        if not 1 <= self.fps <= FASTEST or not 0 <= self.number < 1 << 14:
            raise ValueError(f"{self} cannot be coded")

    @property
    def stick(self) -> tuple[int, bool]:
        """The part that is the same on all pictures of a stick."""
        return self.fps, self.by_eye


def bits(code: Code) -> NDArray[np.bool_]:
    """Return the code's `BITS` bits."""
    gray = code.number ^ code.number >> 1
    told = (code.fps << 4 | _KINDS[code.by_eye]) << 14 | gray
    return _unpacked(told << 16 | crc_hqx(told.to_bytes(3, "big"), 0xFFFF), BITS)


def code(read: NDArray[np.bool_]) -> Code | None:
    """Return what `BITS` bits state; None where the check fails or no stick has such a code."""
    whole = _packed(read)
    told, check = whole >> 16, whole & 0xFFFF
    fps, kind = told >> 18, told >> 14 & 0xF
    if crc_hqx(told.to_bytes(3, "big"), 0xFFFF) != check or not 1 <= fps <= FASTEST or kind not in _KINDS.values():
        return None
    return Code(fps, kind == _KINDS[True], _from_gray(told & 0x3FFF))


def _from_gray(gray: int) -> int:
    number = 0
    while gray:
        number ^= gray
        gray >>= 1
    return number


def _packed(read: NDArray[np.bool_]) -> int:
    return int.from_bytes(np.packbits(read).tobytes(), "big")


def _unpacked(value: int, length: int) -> NDArray[np.bool_]:
    return np.unpackbits(np.frombuffer(value.to_bytes(length // 8, "big"), np.uint8)).astype(bool)
