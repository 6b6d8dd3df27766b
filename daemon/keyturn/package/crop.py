"""The part of a frame that differs from the even ground around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keyturn.radio.trim import Box

U8 = NDArray[np.uint8]
Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Cut:
    """`box` holds all of a frame that differs from `ground`, an 8-bit sRGB colour."""

    box: Box
    ground: Colour


def cut(pixels: U8) -> Cut | None:
    """Return the box in which (H, W, 3) pixels differ from their border. None where the border has several colours.

    A frame of one colour keeps its first pixel, since a picture of no size cannot be written.
    """
    ground = pixels[0, 0]
    borders = (pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1])
    if any((border != ground).any() for border in borders):
        return None
    colour = (int(ground[0]), int(ground[1]), int(ground[2]))
    lines = pixels.reshape(len(pixels), -1) != np.tile(ground, pixels.shape[1])
    rows, columns = (np.flatnonzero(lines.any(axis=axis)) for axis in (1, 0))
    columns //= 3  # three samples a pixel
    if not len(rows):
        return Cut(Box(1, 1, 0, 0), colour)
    left, top, right, bottom = int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1
    return Cut(Box(right - left, bottom - top, left, top), colour)


def cropped(pixels: U8, box: Box) -> U8:
    """Return the pixels inside `box`."""
    part: U8 = np.ascontiguousarray(pixels[box.y : box.y + box.height, box.x : box.x + box.width])
    return part
