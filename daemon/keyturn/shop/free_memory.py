"""Memory that nothing uses any more, given back to the system."""

from __future__ import annotations

import ctypes


def give_back() -> None:
    """Give back what is free between things still in use, where the C library can: glibc's malloc_trim(3).

    By itself glibc gives back only what is free at the end, and one small thing there keeps all before it.
    """
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (AttributeError, OSError):  # another C library
        return
    trim(0)
