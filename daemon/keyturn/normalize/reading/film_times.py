"""How long each frame of a film is shown, and where to start decoding. Pure arithmetic on time stamps."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise


def durations_ms(stamps: Sequence[int], last: int, tick_s: Fraction) -> tuple[int, ...]:
    """Return how long each frame is shown, in whole milliseconds that do not drift from the stamps.

    Stamps count ticks of `tick_s` seconds and ascend. A frame is shown until the next. The last one is shown for
    `last` ticks; where that is 0, for as long as the one before it. Each is shown for at least 1 ms.
    """
    if last <= 0:
        last = stamps[-1] - stamps[-2] if len(stamps) > 1 else 0
    edges = [*stamps, stamps[-1] + last]
    ends = [round((edge - stamps[0]) * tick_s * 1000) for edge in edges]
    return tuple(max(1, end - start) for start, end in pairwise(ends))


def entry(stamps: Sequence[int], keys: Sequence[int], upcoming: int, wanted: int, stride: int) -> int | None:
    """Return the stamp of the keyframe to start from for frame `wanted`; None to go on decoding instead.

    `upcoming` is the frame that would be decoded next. The first of `stamps` means: from the start. A new start is
    needed to go back, and pays where it saves decoding more than `stride` frames. Stamps and keys ascend.
    """
    before = bisect_right(keys, stamps[wanted])
    key = keys[before - 1] if before else stamps[0]
    if wanted < upcoming or bisect_left(stamps, key) - upcoming > stride:
        return max(key, stamps[0])
    return None
