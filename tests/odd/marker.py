"""The scene that every odd file shows, and how a panel picture is held against it.

Three columns and four rows of flat blocks that no turn or flip brings onto themselves, of the panel's own shape, so
that `cover` crops nothing. What a file means is worked out here from how it was made, never by a decoder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[Any]
"""(H, W, channels)."""

PANEL = (48, 64)
ROWS, COLS = 4, 3

COLOURS = np.array(
    [
        [[220, 40, 40], [40, 180, 60], [30, 60, 200]],
        [[240, 220, 60], [200, 60, 200], [60, 200, 210]],
        [[250, 250, 250], [20, 20, 20], [128, 128, 128]],
        [[150, 90, 40], [30, 100, 90], [250, 160, 120]],
    ],
    np.uint8,
)
GREYS = np.array([[20, 235, 90], [160, 50, 200], [255, 0, 128], [70, 180, 110]], np.uint8)
BITS = np.array([[1, 0, 1], [1, 1, 0], [0, 0, 1], [1, 0, 0]], np.uint8)
ALPHA = np.array([[255, 255, 128], [255, 60, 255], [255, 255, 0], [200, 255, 255]], np.uint8)

Expect = Literal["made", "refused", "either", "any"]


@dataclass(frozen=True, slots=True)
class Odd:
    """A file, and what must become of it.

    `made`: it is sound, and its frames must show `wanted` (ROWS, COLS, 3) within `apart` of 255. `refused`: it is
    not. `either`: it is damaged or of a rare layout, and may be refused but not passed wrongly. `any`: nobody can say
    what it shows. `margins`: it is of another shape than the panel, so only `cover` fills that.
    """

    name: str
    data: bytes
    wanted: tuple[NDArray[np.float64], ...] = ()
    expect: Expect = "made"
    apart: float = 4.0
    margins: bool = False

    @property
    def family(self) -> str:
        return self.name.split("-")[0]


def spread(blocks: NDArray[Any], size: tuple[int, int]) -> Pixels:
    """Blocks (ROWS, COLS, ...) as pixels of `size` (width, height)."""
    wide, high = size
    return blocks[np.arange(high) * ROWS // high][:, np.arange(wide) * COLS // wide]


def seen(pixels: Pixels) -> NDArray[np.float64]:
    """What a picture (H, W, 3) shows: the mean of the middle quarter of each block."""
    high, wide = pixels.shape[:2]
    means = np.empty((ROWS, COLS, 3))
    for row, col in np.ndindex(ROWS, COLS):
        y0, y1 = (int((row + share) * high / ROWS) for share in (0.25, 0.75))
        x0, x1 = (int((col + share) * wide / COLS) for share in (0.25, 0.75))
        means[row, col] = pixels[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)].reshape(-1, 3).mean(0)
    return means


def shown(colours: NDArray[Any], alpha: NDArray[Any] | None = None) -> NDArray[np.float64]:
    """Blocks of grey (ROWS, COLS) or colour (ROWS, COLS, 3) as they look on the black ground of the tests."""
    rgb = np.repeat(colours[..., None], 3, -1) if colours.ndim == 2 else colours
    return rgb.astype(float) * (1.0 if alpha is None else alpha[..., None] / 255)


def stored(scene: Pixels, turn: int) -> Pixels:
    """An upright scene as a file with EXIF orientation `turn` holds it.

    CIPA DC-008 (EXIF), tag 274: which side of the scene the stored row 0 and column 0 are.
    """
    match turn:
        case 2:  # top, right
            return scene[:, ::-1]
        case 3:  # bottom, right
            return scene[::-1, ::-1]
        case 4:  # bottom, left
            return scene[::-1]
        case 5:  # left, top
            return scene.swapaxes(0, 1)
        case 6:  # right, top
            return scene[:, ::-1].swapaxes(0, 1)
        case 7:  # right, bottom
            return scene[::-1, ::-1].swapaxes(0, 1)
        case 8:  # left, bottom
            return scene[::-1].swapaxes(0, 1)
    return scene


def exif(turn: int, order: str = "II", thumbnail: bytes = b"") -> bytes:
    """A TIFF block with the orientation alone, and a thumbnail in IFD 1 that claims another one."""
    end = "little" if order == "II" else "big"

    def field(tag: int, kind: int, value: int) -> bytes:
        held = value.to_bytes(2, end) + b"\0\0" if kind == 3 else value.to_bytes(4, end)
        return tag.to_bytes(2, end) + kind.to_bytes(2, end) + (1).to_bytes(4, end) + held

    head = order.encode() + (42).to_bytes(2, end) + (8).to_bytes(4, end)
    first = (1).to_bytes(2, end) + field(274, 3, turn)
    if not thumbnail:
        return head + first + bytes(4)
    at = 8 + len(first) + 4
    fields = [field(274, 3, 9 - turn), field(513, 4, at + 2 + 36 + 4), field(514, 4, len(thumbnail))]
    return head + first + at.to_bytes(4, end) + (3).to_bytes(2, end) + b"".join(fields) + bytes(4) + thumbnail
