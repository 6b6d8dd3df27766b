"""What dithering did for a panel of 16-bit colour."""

from __future__ import annotations

from collections.abc import Sequence

from keyturn.shop.reasons import Reason, note


def dithering_reasons(banding: Sequence[tuple[float, float]], bits: int) -> list[Reason]:
    """Return the note on a 16-bit panel; `banding` is that of each picture before and after dithering."""
    if bits != 16:
        return []
    before, after = (sum(values) / len(banding) for values in zip(*banding, strict=True))
    what = f"the panel shows 16-bit colour: pictures were dithered, banding went from {before:.2f} to {after:.2f}"
    return [note("dithered", what)]
