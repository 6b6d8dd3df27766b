"""Transitions of every cell at once: between peaks and valleys of luminance, and to and from a saturated red.

WCAG 2.2: 'A transition is the change in relative luminance (or relative luminance/color for red flashing)
between adjacent peaks and valleys in a plot ... against time.' A fade over many pictures is therefore one
transition. It is reported at the picture in which the change since the last peak or valley reaches the threshold.
Small ups and downs below the threshold on the way neither end nor repeat it.

Each cell keeps its last peak and valley and the direction of its last transition, so memory does not grow with time.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.area import WHOLE, CellBox, box_around, places
from keyturn.eye.luminance import FULL, uv_planes
from keyturn.shop import rulebook

F32 = NDArray[np.float32]
Bits = NDArray[np.bool_]
Pair = tuple[Bits, Bits]
Selection = tuple[Any, ...]
"""A box or places: an index of some cells."""

MANY = 16
"""Where more than one cell in so many is to be worked on, it is quicker to work on the box around them."""

SLACK = np.float32(2e-5)
"""A change that misses a threshold by no more than this counts: rounding to 1/65535 can take as much off a change."""

BLACK = np.float32(0.003 * FULL)
"""R + G + B at or below this is black: what colour an 8-bit picture has there is rounding."""


class Luminance:
    """Rises and falls of at least `luminance_step` whose darker state is below `darker_below`."""

    def __init__(self, rules: rulebook.Flash) -> None:
        self._step = np.float32(rules.luminance_step) - SLACK
        self._darker = np.float32(rules.darker_below)
        self._peak = self._valley = np.zeros(0, np.float32)
        self._risen = self._fallen = np.zeros(0, np.bool_)  # where the last transition was a rise, and a fall

    def step(self, light: F32, box: CellBox = WHOLE) -> Pair:
        """Take one picture's relative luminance (rows, cols), 0 to 1; return where it makes a rise, and a fall.

        Cells outside `box` are as in the picture before: they make no transition.
        """
        if not self._peak.size:
            self._peak, self._valley = light.copy(), light.copy()
            self._risen, self._fallen = np.zeros((2, *light.shape), np.bool_)
        pair = _none(light.shape)
        light, peak, valley = light[box], self._peak[box], self._valley[box]
        risen, fallen = self._risen[box], self._fallen[box]
        np.maximum(peak, light, out=peak)
        np.minimum(valley, light, out=valley)
        rise = (light - valley >= self._step) & (valley < self._darker) & ~risen
        fall = (peak - light >= self._step) & (light < self._darker) & ~fallen & ~rise
        for made, extreme, last, other in ((rise, peak, risen, fallen), (fall, valley, fallen, risen)):
            if made.any():
                np.copyto(extreme, light, where=made)
                last |= made
                other &= ~made
        pair[0][box], pair[1][box] = rise, fall
        return pair

    def state(self) -> tuple[NDArray[Any], ...]:
        """Return what the next result of `step` depends on."""
        return self._risen, self._fallen, self._peak, self._valley


class Red:
    """Changes to and from a saturated red.

    In one state R / (R + G + B) is at least `red_ratio`, and between the states lies more than `red_step` in u'v'.
    No two saturated reds of sRGB lie 0.2 apart, so every such change leads either to a red or away from one, and the
    two alternate as rises and falls do.

    WCAG 2.2 asks for a saturated red at *one* transition of a pair: 'a pair of opposing transitions where, one
    transition is either to or from a state with a value R/(R + G + B) that is greater than or equal to 0.8'. So after
    a change away from a saturated red, a change back towards red counts too where it ends short of 0.8, and so does
    the next one away, which may be followed by a saturated red.

    Colour has two dimensions, so 'peak' and 'valley' are taken to be the states farthest apart: the reddest state
    since the last change to red, and the state farthest from pure red since the last change away. Along a fade these
    are its ends. Each picture is compared with the one before as well, so that two pictures that differ enough are
    never missed. Black has no chromaticity. It is put at (0, 0), far from every red, so red on black flashes.
    """

    def __init__(self, rules: rulebook.Flash) -> None:
        self._ratio = np.float32(rules.red_ratio)
        self._far_sq = (np.float32(rules.red_step) - SLACK) ** 2
        self._seen: _RedSeen | None = None

    def step(self, planes: tuple[F32, F32, F32], box: CellBox = WHOLE) -> Pair:
        """Take one picture's linear R, G, B, 1.0 scaled to 65535; return where it changes to red, and away.

        Cells outside `box` are as in the picture before: they make no transition.
        """
        pair = _none(planes[0].shape)
        if self._seen is None:
            self._seen = _RedSeen.first(_chroma(*planes, planes[0] + planes[1] + planes[2]))
        red, green, blue = (plane[box] for plane in planes)
        whole = red + green + blue
        half_code = np.float32(0.75)  # rounding of the cells must not lose a red at the threshold
        saturated = (whole > BLACK) & (red + half_code >= self._ratio * whole)
        self._seen.ever_red[box] |= saturated
        unsettled = self._seen.unsettled(box) if self._far_sq < NEAREST_BLACK_SQ else np.ones_like(saturated)
        where = _selected(unsettled)
        if where is None:
            return pair
        red, whole, saturated = red[where], whole[where], saturated[where]
        here = _chroma(red, green[where], blue[where], whole)
        purity = np.where(saturated, red / np.maximum(whole, 1), np.float32(0))
        where = _moved(where, box)
        seen = self._seen.within(where)
        distance = _from_pure_red_sq(here)
        if seen.ever_red.any():  # no other cell makes a transition
            pair[0][where], pair[1][where] = self._changes(seen, here, purity, distance)
        seen.take(here, distance)
        self._seen.put(where, seen)
        return pair

    def _changes(self, seen: _RedSeen, here: F32, purity: F32, distance: F32) -> Pair:
        """Return which cells change to red and which away from it, and note both."""
        saturated = purity > 0
        unlike_red, unlike_other, unlike_before = seen.apart(here, self._far_sq)
        to_red = saturated & ~seen.to_red & (unlike_before | unlike_other)
        from_red = unlike_before & seen.before_saturated | unlike_red
        from_red &= ~seen.from_red & ~saturated
        back = seen.left_red & (distance < seen.distance) & ~saturated & unlike_other
        to_red |= back
        seen.note(here, purity, to_red, from_red)
        if seen.left_red.any() or from_red.any() or back.any():
            seen.note_pairs(here, back, from_red)
        return to_red, from_red

    def state(self) -> tuple[NDArray[Any], ...]:
        """Return what the next result of `step` depends on."""
        return self._seen.state() if self._seen else ()


class _RedSeen:
    """What is remembered of each cell; nan where there is nothing.

    `red` is the reddest state since the last change to red, `other` the state farthest from pure red since the last
    change away and `distance` its distance squared, `before` the picture before. `to_red` and `from_red` are where the
    last change led to a red and away from one, `left_red` where it led away from a saturated red. `ever_red` are the
    cells that ever showed one.
    """

    def __init__(self, values: F32, signs: Bits) -> None:
        self._values, self._signs = values, signs
        self.red, self.other, self.before = values[:2], values[2:4], values[4:6]
        self._purity, self.distance = values[6:]
        self.to_red, self.from_red, self.left_red, self._short, self.before_saturated, self.ever_red = signs

    @classmethod
    def first(cls, here: F32) -> _RedSeen:
        """Return what is remembered before the first picture, which is `here`."""
        values = np.full((8, *here.shape[1:]), np.nan, np.float32)
        values[4:6], values[6], values[7] = here, 0, -1
        return cls(values, np.zeros((6, *here.shape[1:]), np.bool_))

    def within(self, where: Selection) -> _RedSeen:
        """Return some of the cells. What is noted of a box of them is noted here, what of places once it is `put`."""
        return _RedSeen(self._values[:, *where], self._signs[:, *where])

    def put(self, where: Selection, part: _RedSeen) -> None:
        if isinstance(where[0], np.ndarray):
            self._values[:, *where], self._signs[:, *where] = part.state()

    def state(self) -> tuple[NDArray[Any], ...]:
        return self._values, self._signs

    def unsettled(self, box: CellBox) -> Bits:
        """Return the cells of the box of which something is still to be noted.

        Nothing is farther from pure red than black, and a change between black and any red counts. So of a cell that
        was black nothing more is noted until it shows a red: no colour in between can matter.
        """
        unsettled: Bits = self.ever_red[box] | (self.distance[box] < FARTHEST_SQ)
        return unsettled

    def apart(self, here: F32, far_sq: np.float32) -> Bits:
        """Tell where `red`, `other` and `before` lie farther from `here`; False where they are not known (nan)."""
        between = self._values[:6].reshape(3, *here.shape) - here
        between *= between
        apart: Bits = between[:, 0] + between[:, 1] > far_sq
        return apart

    def note(self, here: F32, purity: F32, to_red: Bits, from_red: Bits) -> None:
        """Note the changes to and from red, and which cells are redder than ever since."""
        self._forget(to_red, from_red)
        redder = ~self.from_red & (purity > self._purity)
        if redder.any():
            np.copyto(self._purity, purity, where=redder)
            np.copyto(self.red, here, where=redder)
            self._short &= ~redder
        np.greater(purity, 0, out=self.before_saturated)

    def take(self, here: F32, distance: F32) -> None:
        """Note the picture, and which cells are farther from pure red than ever since the last change away."""
        farther = ~self.to_red & (distance > self.distance)
        if farther.any():
            np.copyto(self.distance, distance, where=farther)
            np.copyto(self.other, here, where=farther)
        self.before[...] = here

    def note_pairs(self, here: F32, back: Bits, from_red: Bits) -> None:
        """Note changes back towards red that stop short of a saturated red, and which cells have left one."""
        self.left_red |= from_red & ~self._short
        self.left_red &= self.from_red
        self._short |= back
        self._short &= ~from_red
        np.copyto(self.red, here, where=back)

    def _forget(self, to_red: Bits, from_red: Bits) -> None:
        changed = to_red | from_red
        if not changed.any():
            return
        self.to_red[...] = (self.to_red | to_red) & ~from_red
        self.from_red[...] = (self.from_red | from_red) & ~to_red
        np.copyto(self._purity, 0, where=changed)
        np.copyto(self.distance, -1, where=changed)
        np.copyto(self.red, np.nan, where=from_red)
        np.copyto(self.other, np.nan, where=to_red)


def _selected(cells: Bits) -> Selection | None:
    """Return the places that are set, or the box around them where they are many; None without any."""
    number = np.count_nonzero(cells)
    if number * MANY > cells.size:
        return box_around(cells, 0)
    return places(cells) if number else None


def _moved(where: Selection, box: CellBox) -> Selection:
    """Return places or a box, counted from the beginning of a box, as those of all cells."""
    from_row, from_col = (side.start or 0 for side in box)
    rows, cols = where
    if isinstance(rows, slice):
        return slice(rows.start + from_row, rows.stop + from_row), slice(cols.start + from_col, cols.stop + from_col)
    return rows + from_row, cols + from_col


def _none(shape: tuple[int, ...]) -> Pair:
    return np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)


def _chroma(red: F32, green: F32, blue: F32, whole: F32) -> F32:
    """Return u' and v' as one array, (0, 0) where it is black; `whole` is R + G + B."""
    here = uv_planes(red, green, blue)
    np.copyto(here, 0, where=whole <= BLACK)
    return here


def _from_pure_red_sq(here: F32) -> F32:
    """Return the distance from pure red in u'v', squared."""
    distance: F32 = (here[0] - _PURE_RED[0]) ** 2 + (here[1] - _PURE_RED[1]) ** 2
    return distance


_PURE_RED = uv_planes(*(np.array(c, np.float32) for c in (1, 0, 0)))
FARTHEST_SQ = _from_pure_red_sq(np.zeros((2, 1), np.float32))
"""That of black: no colour is farther from pure red."""

NEAREST_BLACK_SQ = 0.05
"""Every colour of sRGB lies farther from black's place at (0, 0), squared: the nearest, blue, 0.056."""
