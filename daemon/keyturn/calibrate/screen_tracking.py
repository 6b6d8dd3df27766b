"""Follow the screen from one film frame to the next: a phone in a hand moves.

Around each mark the film frame is straightened by where the screen was; the mark is looked for there, first coarsely
and widely, then finely. Marks under glare or behind a hand are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from keyturn.calibrate import homography, sampling
from keyturn.calibrate.code_layout import MODULES, QUIET, CodeLayout
from keyturn.calibrate.mark_finding import FLAT

F64 = NDArray[np.float64]

FOUND = 0.6
"""Likeness from which a mark counts as found."""

OFF_MODULES = 0.4
"""A mark that lies farther from where the others say it is, in modules, is not one."""


@dataclass(frozen=True, slots=True)
class Tracked:
    """Where the screen is now, and how many of its six marks were found. Without any it is where it was."""

    screen: F64
    marks: int


class ScreenTracker:
    """Follows a screen with this layout."""

    def __init__(self, layout: CodeLayout) -> None:
        self._layout = layout
        self._looks = (_Look(layout, reach=4, fine=2), _Look(layout, reach=1, fine=4))

    def follow(self, grey: NDArray[np.uint8], screen: F64) -> Tracked:
        """Return where the screen is in `grey`; it was at `screen` in a frame just before or after."""
        found = 0
        for look in self._looks:
            places, likeness = look.marks(grey, screen)
            seen = likeness >= FOUND
            screen, found = self._fitted(screen, places, likeness, seen)
            if not found:
                break
        return Tracked(screen, found)

    def _fitted(self, screen: F64, places: F64, likeness: F64, seen: NDArray[np.bool_]) -> tuple[F64, int]:
        """Return the screen that the marks seen agree on, and how many do. `places` are in px of the panel."""
        marks = self._layout.marks
        film = homography.through(screen, places)
        while seen.sum() >= 4 and _spans(seen):
            fit = homography.fitted(marks[seen], film[seen], likeness[seen])
            back = homography.through(np.asarray(np.linalg.inv(fit), np.float64), film)
            off = np.linalg.norm(back - marks, axis=1) / self._layout.module_px
            worst = int(np.argmax(np.where(seen, off, -1.0)))
            if off[worst] <= OFF_MODULES:
                return fit, int(seen.sum())
            seen = seen.copy()
            seen[worst] = False
        return homography.moved(screen, marks[seen], film[seen]), int(seen.sum())


def _spans(seen: NDArray[np.bool_]) -> bool:
    """Whether two marks or more are seen on either side."""
    return bool(seen[0::2].sum() >= 2 and seen[1::2].sum() >= 2)


class _Look:
    """Looks for each mark up to `reach` modules from where it should be, with `fine` samples a module."""

    def __init__(self, layout: CodeLayout, *, reach: int, fine: int) -> None:
        self._layout, self._reach, self._fine = layout, reach, fine
        side = MODULES + 2 * QUIET
        steps = (np.arange((side + 2 * reach) * fine) + 0.5) / fine - (side / 2 + reach)
        x, y = np.meshgrid(steps, steps)
        self._grid = layout.marks[:, None, None, :] + np.stack([x, y], axis=-1) * layout.module_px
        outside = np.abs((np.arange(side * fine) + 0.5) / fine - side / 2)
        ring = np.maximum(outside[:, None], outside[None, :])
        mark = ((ring < 2.5) & (ring >= 1.5)) | (ring < 0.5)
        self._mark = (mark - mark.mean()).astype(np.float32)
        self._norm = float(np.sqrt((self._mark**2).sum()))

    def marks(self, grey: NDArray[np.uint8], screen: F64) -> tuple[F64, F64]:
        """Return where on the panel each mark seems to be (6, 2), in px, and its likeness (6,)."""
        straight = sampling.light(grey, homography.through(screen, self._grid.reshape(-1, 2)))
        straight = straight.reshape(self._grid.shape[:-1])
        windows = sliding_window_view(straight, self._mark.shape, axis=(1, 2))
        product = np.einsum("mijyx,yx->mij", windows, self._mark, optimize=True)
        spread = np.maximum(_variance(straight, self._mark.shape[0]), self._mark.size * FLAT**2)
        like = product / (np.sqrt(spread) * self._norm)
        return self._places(like), like.max(axis=(1, 2)).astype(np.float64)

    def _places(self, like: NDArray[np.float32]) -> F64:
        places = np.empty((len(like), 2))
        for number, each in enumerate(like):
            row, column = np.unravel_index(int(each.argmax()), each.shape)
            at = np.array([column + _between(each[row, :], int(column)), row + _between(each[:, column], int(row))])
            places[number] = self._layout.marks[number] + (at / self._fine - self._reach) * self._layout.module_px
        return places


def _between(line: NDArray[np.float32], peak: int) -> float:
    """Return how far the top of a parabola through the peak and its neighbours lies from it."""
    if not 0 < peak < len(line) - 1:
        return 0.0
    before, at, after = (float(value) for value in line[peak - 1 : peak + 2])
    bend = before - 2 * at + after
    return 0.0 if bend >= 0 else 0.5 * (before - after) / bend


def _variance(straight: NDArray[np.float32], side: int) -> NDArray[np.float32]:
    """Return the sum of squared differences from the mean in each window of this side."""

    def sums(values: F64) -> F64:
        table = np.zeros((values.shape[0], values.shape[1] + 1, values.shape[2] + 1))
        table[:, 1:, 1:] = values.cumsum(axis=1).cumsum(axis=2)
        return np.asarray(
            table[:, side:, side:] - table[:, :-side, side:] - table[:, side:, :-side] + table[:, :-side, :-side]
        )

    light = straight.astype(np.float64)
    total = sums(light)
    return np.asarray(sums(light * light) - total * total / side**2, np.float32)
