"""The frame rate at which the parts that play once finish before the radio has booted."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

from keyturn.radio.boot import BootModel
from keyturn.radio.timeline import Pacing, Part, Timeline

NEIGHBOURS = 3
FEWEST_KEPT = 2
"""The first and the last frame of a part stay."""

PartsAt = Callable[[int], tuple[Part, ...]]
PacingAt = Callable[[int], Pacing]


@dataclass(frozen=True, slots=True)
class FpsRow:
    """What one rate would do: when the once-only parts end, in what share of starts, and the hold after them."""

    fps: int
    once_only_s: float
    share_finished: float
    hold_usual_s: float


@dataclass(frozen=True, slots=True)
class FpsChoice:
    """`met` False: no rate in the limits reaches the wanted share; `fps` is then the highest allowed.

    `alternatives` are the rates around `fps`, itself among them, ascending.
    """

    fps: int
    finish_share: float
    met: bool
    alternatives: tuple[FpsRow, ...]


def choose_fps(
    parts_at: PartsAt,
    pacing_at: PacingAt,
    boot: BootModel,
    finish: float,
    fps_min: int,
    fps_max: int,
    default_fps: int | None = None,
) -> FpsChoice:
    """The least whole fps at which the once-only parts finish in a share of at least `finish` of starts.

    Where nothing plays once, nothing has to finish: the rate is `default_fps`, kept within the limits.
    Raises `ValueError` where the limits are in the wrong order.
    """
    if not 1 <= fps_min <= fps_max:
        raise ValueError(f"fps limits {fps_min} to {fps_max} are not in order")

    def share_at(fps: int) -> float:
        return _row(fps, parts_at(fps), pacing_at(fps), boot).share_finished

    if default_fps is not None and not once_only(parts_at(fps_min)):
        fps = min(max(default_fps, fps_min), fps_max)
    else:
        meets = (fps for fps in range(fps_min, fps_max) if share_at(fps) >= finish)
        fps = next(meets, fps_max)
    share = share_at(fps)
    rows = alternatives(parts_at, pacing_at, boot, fps, fps_min, fps_max)
    return FpsChoice(fps, share, share >= finish, rows)


def alternatives(
    parts_at: PartsAt, pacing_at: PacingAt, boot: BootModel, fps: int, fps_min: int, fps_max: int
) -> tuple[FpsRow, ...]:
    """What the rates around `fps` would do, itself among them, ascending and within the limits."""
    lowest, highest = max(fps_min, fps - NEIGHBOURS), min(fps_max, fps + NEIGHBOURS)
    return tuple(_row(near, parts_at(near), pacing_at(near), boot) for near in range(lowest, highest + 1))


def once_only(parts: Sequence[Part]) -> tuple[Part, ...]:
    """The parts before the first endless one."""
    return tuple(takewhile(lambda part: part.count != 0, parts))


def _row(fps: int, parts: tuple[Part, ...], pacing: Pacing, boot: BootModel) -> FpsRow:
    once_s = Timeline(parts, pacing, boot.longest).once_only_end_s
    hold_s = max(0.0, boot.spread[1] - once_s)
    return FpsRow(fps, once_s, boot.share_finished(once_s), hold_s)


def kept_frames(parts: tuple[Part, ...], pacing: Pacing, boot: BootModel, finish: float) -> tuple[int, ...] | None:
    """Frames of each part to keep so that the once-only parts finish in `finish` of starts: as many as can be.

    Every once-only part is thinned by the same share and keeps at least its first and last frame.
    None where thinning does not help: pauses and plays alone take too long.
    """
    most = max((part.frames for part in once_only(parts)), default=0)

    def too_long(longest: int) -> bool:
        kept = _thinned(parts, longest, most)
        once_s = Timeline(kept, pacing, boot.longest).once_only_end_s
        return boot.share_finished(once_s) < finish

    choices = range(min(FEWEST_KEPT, most), most + 1)
    fitting = bisect_right(choices, False, key=too_long)  # more frames never take less time
    if fitting == 0:
        return None
    return tuple(part.frames for part in _thinned(parts, choices[fitting - 1], most))


def _thinned(parts: tuple[Part, ...], longest: int, most: int) -> tuple[Part, ...]:
    """The once-only parts thinned so that the longest of them, of `most` frames, keeps `longest`."""
    once = once_only(parts)
    kept = (replace(p, frames=min(p.frames, max(FEWEST_KEPT, p.frames * longest // max(most, 1)))) for p in once)
    return (*kept, *parts[len(once) :])


def frames_to_thin(parts: tuple[Part, ...], pacing: Pacing, boot: BootModel, finish: float) -> int | None:
    """How many frames have to go, all once-only parts together; None where no thinning helps."""
    kept = kept_frames(parts, pacing, boot, finish)
    return None if kept is None else sum(part.frames for part in parts) - sum(kept)


def thin(n_frames: int, keep: int) -> tuple[int, ...]:
    """Indices of `keep` of `n_frames` frames, evenly spread, the first and the last among them.

    Gaps differ by one frame at most. Raises `ValueError` unless 2 <= keep <= n_frames (or both are 1).
    """
    if not min(FEWEST_KEPT, n_frames) <= keep <= n_frames or n_frames < 1:
        raise ValueError(f"cannot keep {keep} of {n_frames} frames with the first and the last among them")
    if keep == 1:
        return (0,)
    gaps = keep - 1
    return tuple((2 * i * (n_frames - 1) + gaps) // (2 * gaps) for i in range(keep))  # rounded half up
