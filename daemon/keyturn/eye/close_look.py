"""A close look at a stretch of time that cells cannot decide: flashes counted pixel by pixel in a part of the screen.

WCAG 2.2 exempts fine, balanced patterns with 'squares' smaller than 0.1 degree. So a pixel counts where it flashes
together with a square of 0.1 degree (in whole pixels, rounded up) around it, and its neighbours in that cell. Where
pixels flash in a finer pattern only, their cells are judged instead, as an eye would see them: a cell whose mean light
flashes counts whole. The smallest pattern that is surely seen is therefore 0.1 degree wide: on WCAG's screen of 1024 x
768, stripes of 4 px.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from keyturn.eye import luminance, transitions
from keyturn.eye.area import Fields, any_around
from keyturn.eye.flash_counts import Findings, FlashCounts
from keyturn.eye.noise import BALANCE, white_noise
from keyturn.eye.screen import Screen
from keyturn.eye.transition_count import Flashing, TransitionCount
from keyturn.eye.undecided import Stretch
from keyturn.eye.window_sums import window_sums
from keyturn.shop import rulebook

F32 = NDArray[np.float32]
U8 = NDArray[np.uint8]
Bits = NDArray[np.bool_]

_LIGHT: F32 = (luminance.LINEAR16 * (luminance.WEIGHTS / luminance.FULL)[:, None]).astype(np.float32)
"""What each code of each channel adds to the relative luminance."""


class CloseLook:
    """Judges the pixels of a stretch's box as pictures are shown, one by one."""

    def __init__(self, screen: Screen, rules: rulebook.Flash, stretch: Stretch) -> None:
        self._box, self._red_too, self._rules = stretch.box, stretch.red, rules
        self._grid = Grid(screen, stretch.box)
        pixels = Screen(self._grid.shape_px[1], self._grid.shape_px[0], screen.field_px, 1.0)
        fields = Fields(pixels, rules.field_share)
        self._pixels, self._cells = (_Trackers(rules) for _ in range(2))
        self._general, self._red = (PixelCount(self._grid, fields, rules.most_per_second) for _ in range(2))
        self._counts = FlashCounts(fields, self._general, self._red)
        self._light_before: F32 | None = None

    @property
    def fails(self) -> bool:
        return self._counts.fails

    def show(self, cells: NDArray[np.uint16], rgb: U8, at_s: float) -> None:
        """Take one picture's cells and its pixels, both of the whole screen, and when it appears, in seconds."""
        rgb = rgb[self._grid.place_px]
        red, green, blue = (np.take(_LIGHT[c], rgb[..., c], mode="clip") for c in range(3))
        light = red + green + blue
        coarse = cells[self._box].astype(np.float32)
        coarse_light = luminance.relative_luminance(*luminance.planes(coarse)) / np.float32(luminance.FULL)
        by_pixel = self._pixels.luminance.step(light)
        by_cell = self._without_noise(self._cells.luminance.step(coarse_light), coarse_light)
        changed = self._general.add_both(at_s, by_pixel, by_cell)
        if self._red_too:
            to_and_from = self._pixels.red.step(luminance.planes(luminance.cells(rgb, 1.0).astype(np.float32)))
            changed |= self._red.add_both(at_s, to_and_from, self._cells.red.step(luminance.planes(coarse)))
        if changed:
            self._counts.judge(at_s)

    def _without_noise(self, pair: transitions.Pair, light: F32) -> transitions.Pair:
        before, self._light_before = self._light_before, light
        if before is None or not (pair[0].any() and pair[1].any()):
            return pair
        coarse = ~white_noise(light - before, round(0.5 / self._rules.cell_deg))
        return pair[0] & coarse, pair[1] & coarse

    def findings(self) -> Findings:
        return self._counts.findings()


class _Trackers:
    def __init__(self, rules: rulebook.Flash) -> None:
        self.luminance, self.red = transitions.Luminance(rules), transitions.Red(rules)


class PixelCount(TransitionCount):
    """Transitions of one kind counted for pixels, and beside them for cells, which stand in for finer patterns."""

    def __init__(self, grid: Grid, fields: Fields, most_per_second: int) -> None:
        super().__init__(grid.shape_px, fields, most_per_second)
        self._grid = grid
        self._whole_cells = Flashing(grid.shape, most_per_second)
        self._brighter = np.zeros(grid.shape_px, np.bool_)

    def add_both(self, at_s: float, pixels: transitions.Pair, cells: transitions.Pair) -> bool:
        """Count the transitions of one picture; return False where there are none."""
        places, whole = pixels[0] | pixels[1], cells[0] | cells[1]
        if not (places.any() or whole.any()):
            return False
        self._cells.add(at_s, places)
        self._whole_cells.add(at_s, whole)
        np.copyto(self._brighter, pixels[0], where=places)
        self._add_moment(at_s, *(self._moved(pixels, p, c) for p, c in zip(pixels, cells, strict=True)))
        return True

    def _moved(self, both: transitions.Pair, pixels: Bits, cells: Bits) -> Bits:
        """Return the area that made a transition at one picture; nothing where it is surely below the limit."""
        most = np.count_nonzero(pixels) + np.count_nonzero(cells) * self._grid.cell_area
        if most <= self._fields.limit_px:
            return self._grid.nothing
        return self._grid.area([pixels], cells, both)

    def judge(self, at_s: float) -> None:
        """Set `now` and `most`: 0, or as many transitions as fail."""
        self._forget(at_s)
        self.now = self.failing if self._moments.counts.max() >= self.failing else 0
        if self.now:
            self.share = max(self.share, self._moment_share)
        if self._possible() >= self.failing:
            share = self._fields.largest(self.area(at_s))
            self.share = max(self.share, share)
            self.now = self.failing if share > self._fields.share_limit else self.now
        self.most = max(self.most, self.now)

    def area(self, at_s: float, count: int = 0) -> Bits:
        least = count or self.failing
        flashing = self._cells.now(at_s, least)
        in_step = flashing & self._brighter, flashing & ~self._brighter
        return self._grid.area(in_step, self._whole_cells.now(at_s, least), in_step)

    def flashing_at(self, at_s: float) -> bool:
        return super().flashing_at(at_s) or bool(self._whole_cells.now(at_s, self.failing).any())

    def _forget(self, at_s: float) -> None:
        super()._forget(at_s)
        self._whole_cells.forget(at_s)

    def _possible(self) -> int:
        return max(super()._possible(), int(self._whole_cells.counts.max()))


class Grid:
    """The pixels and the cells of a box on the screen. A pixel belongs to the cell that holds its centre."""

    def __init__(self, screen: Screen, box: tuple[slice, slice]) -> None:
        self._side = math.ceil(screen.cell_px - 1e-6)
        self.cell_area = (screen.cell_px + 1) ** 2
        self.shape = (box[0].stop - box[0].start, box[1].stop - box[1].start)
        ends = (screen.height_px, screen.width_px)
        places, self._cell_of, self._first = zip(*map(_axis, ends, box, (screen.cell_px,) * 2), strict=True)
        self.place_px: tuple[slice, slice] = places
        self.shape_px = (places[0].stop - places[0].start, places[1].stop - places[1].start)
        self.nothing = np.zeros(self.shape_px, np.bool_)

    def area(self, in_step: Sequence[Bits], cells: Bits, both: transitions.Pair) -> Bits:
        """Return the pixels that flash.

        Pixels that flash are given in sets that change together, since a pattern is fine where its neighbours do not.
        `cells` are those whose mean light flashes. `both` are the pixels that turn brighter and darker: where they
        balance in a fine pattern, what is left of it in a cell's mean is exempt too.
        """
        pixels = np.logical_or.reduce(in_step)
        if not pixels.any() and not cells.any():
            return self.nothing
        large = np.logical_or.reduce([self._any_in_cells(opened(each, self._side)) for each in in_step])
        near = any_around(large, beyond=False)
        fine = cells & ~near
        if fine.any():
            fine &= ~self._balanced(both)
        area: Bits = pixels & self._spread(near) | self._spread(fine)
        return area

    def _balanced(self, both: transitions.Pair) -> Bits:
        """Return the cells in and around which as many pixels turn brighter as darker."""
        brighter, darker = (self._around(side) for side in both)
        balanced: Bits = np.abs(brighter - darker) < BALANCE * (brighter + darker)
        return balanced

    def _around(self, pixels: Bits) -> NDArray[np.float64]:
        """Return how many of the pixels are set in each cell and its neighbours."""
        tall = np.add.reduceat(pixels, self._first[0], axis=0, dtype=np.int32)
        counts = np.add.reduceat(tall, self._first[1], axis=1)
        return window_sums(np.pad(counts, 1), (3, 3))

    def _any_in_cells(self, pixels: Bits) -> Bits:
        tall = _any_in_runs(pixels, self._first[0])
        return _any_in_runs(tall.T, self._first[1]).T

    def _spread(self, cells: Bits) -> Bits:
        """Return the pixels of the cells."""
        spread: Bits = cells[self._cell_of[0]][:, self._cell_of[1]]
        return spread


def _axis(end: int, cells: slice, cell_px: float) -> tuple[slice, NDArray[np.intp], NDArray[np.intp]]:
    """Return the pixels of a row of cells, the cell of each pixel, and the first pixel of each cell."""
    of = ((np.arange(end) + 0.5) / cell_px).astype(np.intp)
    low, high = np.searchsorted(of, (cells.start, cells.stop))
    inside = of[low:high] - cells.start
    first = np.searchsorted(inside, np.arange(cells.stop - cells.start))
    return slice(int(low), int(high)), inside, np.minimum(first, len(inside) - 1)


def _any_in_runs(pixels: Bits, first: NDArray[np.intp]) -> Bits:
    """Return whether any is set from each of the `first` rows to the row before the next."""
    last = np.append(first[1:], len(pixels)) - 1
    found = pixels[first]
    for step in range(1, int((last - first).max()) + 1):
        found |= pixels[np.minimum(first + step, np.maximum(last, first))]
    return found


def opened(pixels: Bits, side: int) -> Bits:
    """Return the pixels that lie in some square of which every pixel is set; `side` is its side in pixels."""
    if min(pixels.shape) < side or not pixels.any():
        return np.zeros_like(pixels)
    if pixels.all():
        return pixels
    tall = _each_run(pixels, side, np.logical_and)
    corners = _each_run(tall.T, side, np.logical_and)
    wide = _each_run(np.pad(corners, ((side - 1, side - 1), (0, 0))), side, np.logical_or)
    whole: Bits = _each_run(np.pad(wide.T, ((side - 1, side - 1), (0, 0))), side, np.logical_or)
    return whole


def _each_run(pixels: Bits, length: int, joined: np.ufunc) -> Bits:
    """Return `joined` over each run of `length` rows."""
    count = len(pixels) - length + 1
    runs = pixels[:count].copy(order="K")
    for step in range(1, length):
        joined(runs, pixels[step : step + count], out=runs)
    return runs
