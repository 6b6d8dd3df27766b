"""Sizes in bytes, as people read them."""

from __future__ import annotations

KIB, MIB, GIB = 2**10, 2**20, 2**30
"""Bytes of the binary multiples (IEC 80000-13)."""


def readable_size(size: float) -> str:
    """Return `size` bytes as "9.0 MiB", or below a tenth of a MiB as "12 KiB"."""
    if size < MIB / 10:
        return f"{size / KIB:.0f} KiB"
    return f"{size / MIB:.1f} MiB"
