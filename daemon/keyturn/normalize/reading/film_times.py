"""How long each picture of a film stands, from the time stamps of its frames. Pure arithmetic."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise


def durations_ms(stamps: Sequence[int], last: int, tick_s: Fraction) -> tuple[int, ...]:
    """Whole milliseconds that do not drift from the stamps, which count ticks and ascend.

    A frame stands until the next; the last one `last` ticks, or as long as the one before where that is not told.
    Each is at least 1 ms.
    """
    if last <= 0:
        last = stamps[-1] - stamps[-2] if len(stamps) > 1 else 0
    edges = [*stamps, stamps[-1] + last]
    ends = [round((edge - stamps[0]) * tick_s * 1000) for edge in edges]
    return tuple(max(1, end - start) for start, end in pairwise(ends))


def entry(stamps: Sequence[int], keys: Sequence[int], upcoming: int, wanted: int, stride: int) -> int | None:
    """The keyframe's stamp from which to decode frame `wanted`, where the film stands before frame `upcoming`.

    None: go on from where it stands; the first of `stamps`: from the start. Entering anew pays for going back, and
    for more than `stride` frames that need not be decoded. Stamps and keys ascend.
    """
    before = bisect_right(keys, stamps[wanted])
    key = keys[before - 1] if before else stamps[0]
    if wanted < upcoming or bisect_left(stamps, key) - upcoming > stride:
        return max(key, stamps[0])
    return None
