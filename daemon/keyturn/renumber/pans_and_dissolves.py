"""Arithmetic of drawn frames: their order, the shares of a dissolve, the boxes of a pan over one still."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from keyturn.flatten.frame_source import Box
from keyturn.flatten.motion import eased
from keyturn.manifest.drawn_frames import Ease

T = TypeVar("T")


def reordered(frames: Sequence[T], *, reverse: bool, there_and_back: bool, rests: bool) -> tuple[T, ...]:
    """Return the frames backwards, or forwards and then backwards.

    There and back shows neither end twice: 1 2 3 4 3 2, and a loop goes on with 1. Where the screen stands still
    after a play (`rests`), the first frame comes last: 1 2 3 4 3 2 1.
    """
    once = tuple(frames[::-1]) if reverse else tuple(frames)
    if not there_and_back:
        return once
    return once + once[-2::-1] if rests else once + once[-2:0:-1]


def dissolve_shares(frames: int) -> tuple[float, ...]:
    """Return the share (0 to 1) of the new picture in each of `frames`; the last shows the new picture alone."""
    return tuple((number + 1) / frames for number in range(frames))


def panel_shaped(area: Box, picture: tuple[int, int], panel: tuple[int, int]) -> Box:
    """Return the largest box of the panel's shape in the middle of `area`, in pixels of the picture.

    `area` is in shares of the picture's width and height.
    """
    left, top, right, bottom = (share * length for share, length in zip(area, picture * 2, strict=True))
    scale = min((right - left) / panel[0], (bottom - top) / panel[1])
    x, y = (left + right) / 2, (top + bottom) / 2
    half_w, half_h = panel[0] * scale / 2, panel[1] * scale / 2
    return x - half_w, y - half_h, x + half_w, y + half_h


def pan_boxes(first: Box, last: Box, frames: int, ease: Ease) -> tuple[Box, ...]:
    """Return the box that each of `frames` (two or more) shows on the way from `first` to `last`, of one shape.

    The width changes by the same factor from frame to frame, which the eye sees as an even approach. One point of the
    picture stands still on the panel: the centre of the two boxes' similarity. Where the width stays, the box moves by
    the same distance from frame to frame.
    """
    gone = eased(np.linspace(0, 1, frames), ease)[:, None]
    a, b = np.asarray(first), np.asarray(last)
    wide_a, wide_b = a[2] - a[0], b[2] - b[0]
    ratio = wide_b / wide_a
    if abs(ratio - 1) > 1e-6:
        gone = (ratio**gone - 1) / (ratio - 1)
    boxes = a * (1 - gone) + b * gone
    return tuple((left, top, right, bottom) for left, top, right, bottom in boxes.tolist())
