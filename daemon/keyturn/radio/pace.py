"""The frame rate at which the parts that play once finish before the radio has booted, and what to thin."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import takewhile

from keyturn.radio.boot import BootModel
from keyturn.radio.timeline import Pacing, PlayedPart, Timeline
from keyturn.shop.records import PaceRow

NEIGHBOURS = 3
"""The table of alternatives shows so many rates below and above the chosen one."""

FEWEST_KEPT = 2
"""The first and the last frame of a part stay."""

PartsAt = Callable[[int], tuple[PlayedPart, ...]]
"""Gives the parts as they are at a rate: clips have more frames at higher ones."""

PacingAt = Callable[[int], Pacing]


def choose_fps(
    parts_at: PartsAt,
    pacing_at: PacingAt,
    boot: BootModel,
    finish: float,
    fps_min: int,
    fps_max: int,
    default_fps: int | None = None,
) -> int:
    """Return the least whole fps at which the once-only parts finish in a share of at least `finish` of starts.

    It is `fps_max` where no rate reaches that share. Where nothing plays once, nothing has to finish: then it is
    `default_fps`, kept within the limits. Raise `ValueError` where the limits are in the wrong order.
    """
    if not 1 <= fps_min <= fps_max:
        raise ValueError(f"fps limits {fps_min} to {fps_max} are not in order")
    if default_fps is not None and not once_only(parts_at(fps_min)):
        return min(max(default_fps, fps_min), fps_max)
    meets = (fps for fps in range(fps_min, fps_max) if _in_time(parts_at(fps), pacing_at(fps), boot, finish))
    return next(meets, fps_max)


def _in_time(parts: tuple[PlayedPart, ...], pacing: Pacing, boot: BootModel, finish: float) -> bool:
    return boot.share_finished(_once_only_s(parts, pacing, boot)) >= finish


def _once_only_s(parts: tuple[PlayedPart, ...], pacing: Pacing, boot: BootModel) -> float:
    """Return when the once-only parts end, in seconds from the first frame."""
    return Timeline(parts, pacing, boot.longest).once_only_end_s


def alternatives(
    parts_at: PartsAt, pacing_at: PacingAt, boot: BootModel, fps: int, fps_min: int, fps_max: int
) -> tuple[PaceRow, ...]:
    """Return what the rates around `fps` would do, itself among them, ascending and within the limits."""
    lowest, highest = max(fps_min, fps - NEIGHBOURS), min(fps_max, fps + NEIGHBOURS)
    return tuple(_row(near, parts_at(near), pacing_at(near), boot) for near in range(lowest, highest + 1))


def _row(fps: int, parts: tuple[PlayedPart, ...], pacing: Pacing, boot: BootModel) -> PaceRow:
    once_s = _once_only_s(parts, pacing, boot)
    _, usual_s, _ = boot.spread
    return PaceRow(
        fps=fps,
        once_only_s=once_s,
        share_finished=boot.share_finished(once_s),
        hold_usual_s=max(0.0, usual_s - once_s),
    )


def once_only(parts: Sequence[PlayedPart]) -> tuple[PlayedPart, ...]:
    """Return the parts before the first endless one."""
    return tuple(takewhile(lambda part: part.count != 0, parts))


def kept_frames(
    parts: tuple[PlayedPart, ...], pacing: Pacing, boot: BootModel, finish: float
) -> tuple[int, ...] | None:
    """Return how many frames of each part to keep so that the once-only parts finish in a share `finish` of starts.

    They are as many as can be. Every once-only part is thinned by the same share and keeps at least its first and
    last frame. None where thinning does not help, because pauses and plays alone take too long.
    """
    most = max((part.frames for part in once_only(parts)), default=0)

    def too_long(longest: int) -> bool:
        return not _in_time(_thinned(parts, longest, most), pacing, boot, finish)

    choices = range(min(FEWEST_KEPT, most), most + 1)
    fitting = bisect_right(choices, False, key=too_long)  # more frames never take less time
    if fitting == 0:
        return None
    return tuple(part.frames for part in _thinned(parts, choices[fitting - 1], most))


def _thinned(parts: tuple[PlayedPart, ...], longest: int, most: int) -> tuple[PlayedPart, ...]:
    """Return the parts, the once-only ones thinned so that the longest of them, of `most` frames, keeps `longest`."""
    once = once_only(parts)
    kept = (replace(p, frames=min(p.frames, max(FEWEST_KEPT, p.frames * longest // max(most, 1)))) for p in once)
    return (*kept, *parts[len(once) :])


def thin(n_frames: int, keep: int) -> tuple[int, ...]:
    """Return the indices of `keep` of `n_frames` frames, evenly spread, the first and the last among them.

    Gaps differ by one frame at most. Raise `ValueError` unless 2 <= keep <= n_frames (or both are 1).
    """
    if not min(FEWEST_KEPT, n_frames) <= keep <= n_frames or n_frames < 1:
        raise ValueError(f"cannot keep {keep} of {n_frames} frames with the first and the last among them")
    if keep == 1:
        return (0,)
    gaps = keep - 1
    return tuple((2 * i * (n_frames - 1) + gaps) // (2 * gaps) for i in range(keep))  # rounded half up
