"""What can be made of frames that are there: another order, a dissolve, a pan over one still. Pure arithmetic."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from keyturn.flatten.frame_source import Box
from keyturn.flatten.motion import eased
from keyturn.manifest.drawn_frames import Ease

T = TypeVar("T")


def reordered(frames: Sequence[T], *, reverse: bool, there_and_back: bool, rests: bool) -> tuple[T, ...]:
    """Frames backwards, or forwards and then backwards.

    There and back shows neither end twice: 1 2 3 4 3 2, and a loop goes on with 1. Where the part comes to
    rest after its play (`rests`), it comes all the way back: 1 2 3 4 3 2 1.
    """
    once = tuple(frames[::-1]) if reverse else tuple(frames)
    if not there_and_back:
        return once
    return once + once[-2::-1] if rests else once + once[-2:0:-1]


def dissolve_shares(frames: int) -> tuple[float, ...]:
    """How much of the new picture is seen in each of `frames`; the last is the new picture alone."""
    return tuple((number + 1) / frames for number in range(frames))


def framed(stretch: Box, picture: tuple[int, int], panel: tuple[int, int]) -> Box:
    """The largest stretch of the panel's shape in the middle of `stretch` (shares), in pixels of the picture."""
    left, top, right, bottom = (share * length for share, length in zip(stretch, picture * 2, strict=True))
    scale = min((right - left) / panel[0], (bottom - top) / panel[1])
    x, y = (left + right) / 2, (top + bottom) / 2
    half_w, half_h = panel[0] * scale / 2, panel[1] * scale / 2
    return x - half_w, y - half_h, x + half_w, y + half_h


def stretches(first: Box, last: Box, frames: int, ease: Ease) -> tuple[Box, ...]:
    """The stretch shown in each of `frames` (two or more) on the way between two of one shape.

    The width changes by the same factor from frame to frame, which the eye sees as an even approach, and
    the place so that one point of the picture stands still on the panel (the centre of the two stretches'
    similarity). A move without approach is even.
    """
    gone = eased(np.linspace(0, 1, frames), ease)[:, None]
    a, b = np.asarray(first), np.asarray(last)
    wide_a, wide_b = a[2] - a[0], b[2] - b[0]
    ratio = wide_b / wide_a
    if abs(ratio - 1) > 1e-6:
        gone = (ratio**gone - 1) / (ratio - 1)
    boxes = a * (1 - gone) + b * gone
    return tuple((left, top, right, bottom) for left, top, right, bottom in boxes.tolist())
