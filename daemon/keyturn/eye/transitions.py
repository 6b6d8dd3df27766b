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

from keyturn.eye.luminance import FULL, uv_planes
from keyturn.shop import rulebook

F32 = NDArray[np.float32]
Bits = NDArray[np.bool_]
Pair = tuple[Bits, Bits]
Chroma = tuple[F32, F32]

SLACK = np.float32(2e-5)
"""A change this little below a threshold counts: rounding two cells to 1/65535 can have taken as much off it."""

BLACK = np.float32(0.003 * FULL)
"""R + G + B at or below this is black: what colour an 8-bit picture has there is rounding."""


class Luminance:
    """Rises and falls of at least `luminance_step` whose darker state is below `darker_below`."""

    def __init__(self, rules: rulebook.Flash) -> None:
        self._step = np.float32(rules.luminance_step) - SLACK
        self._darker = np.float32(rules.darker_below)
        self._last: NDArray[np.int8] | None = None  # +1 a rise, -1 a fall, 0 none yet
        self._peak = self._valley = np.zeros(0, np.float32)

    def step(self, light: F32) -> Pair:
        """Take one picture's relative luminance (rows, cols), 0 to 1; return where it makes a rise, and a fall."""
        if self._last is None:
            self._last = np.zeros(light.shape, np.int8)
            self._peak, self._valley = light.copy(), light.copy()
        last = self._last
        np.maximum(self._peak, light, out=self._peak)
        np.minimum(self._valley, light, out=self._valley)
        rise = (light - self._valley >= self._step) & (self._valley < self._darker) & (last <= 0)
        fall = (self._peak - light >= self._step) & (light < self._darker) & (last >= 0) & ~rise
        np.copyto(self._peak, light, where=rise)
        np.copyto(self._valley, light, where=fall)
        np.copyto(last, 1, where=rise, casting="unsafe")
        np.copyto(last, -1, where=fall, casting="unsafe")
        return rise, fall

    def state(self) -> tuple[NDArray[Any], ...]:
        """Return what the next result of `step` depends on."""
        return () if self._last is None else (self._last, self._peak, self._valley)


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

    def step(self, planes: tuple[F32, F32, F32]) -> Pair:
        """Take one picture's linear R, G, B, 1.0 scaled to 65535; return where it changes to red, and away."""
        here, purity = self._state(planes)
        saturated = purity > 0
        seen = self._seen or _RedSeen(here)
        unlike_before = self._apart(here, seen.before)
        unlike_other = self._apart(here, seen.other)
        to_red = saturated & (seen.last <= 0) & (unlike_before | unlike_other)
        from_red = unlike_before & seen.before_saturated | self._apart(here, seen.red)
        from_red &= (seen.last >= 0) & ~saturated
        distance = (here[0] - _PURE_RED[0]) ** 2 + (here[1] - _PURE_RED[1]) ** 2
        back = seen.left_red & (distance < seen.distance) & ~saturated & unlike_other
        to_red |= back
        seen.take(here, purity, distance, to_red, from_red)
        if seen.left_red.any() or from_red.any() or back.any():
            seen.note_pairs(here, back, from_red)
        self._seen = seen
        return to_red, from_red

    def state(self) -> tuple[NDArray[Any], ...]:
        """Return what the next result of `step` depends on."""
        return self._seen.state() if self._seen else ()

    def _state(self, planes: tuple[F32, F32, F32]) -> tuple[Chroma, F32]:
        """Return u'v', and R / (R + G + B) where that makes a saturated red, else 0."""
        red, green, blue = planes
        whole = red + green + blue
        lit = whole > BLACK
        u, v = uv_planes(*planes)
        half_code = np.float32(0.75)  # rounding of the cells must not lose a red at the threshold
        saturated = lit & (red + half_code >= self._ratio * whole)
        return (u * lit, v * lit), np.where(saturated, red / np.maximum(whole, 1), np.float32(0))

    def _apart(self, a: Chroma, b: Chroma) -> Bits:
        """Tell where two chromaticities lie more than `red_step` apart; False where either is unknown (nan)."""
        apart: Bits = (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 > self._far_sq
        return apart


class _RedSeen:
    """What is remembered of each cell; nan where there is nothing.

    `red` is the reddest state since the last change to red, `other` the state farthest from pure red since the last
    change away and `distance` its distance squared, `before` the picture before. `left_red` is where the last change
    led away from a saturated red.
    """

    def __init__(self, here: Chroma) -> None:
        shape = here[0].shape
        self.last = np.zeros(shape, np.int8)  # +1 to red, -1 away from it, 0 none yet
        self.red, self._purity = _nowhere(shape), np.zeros(shape, np.float32)
        self.other, self.distance = _nowhere(shape), np.full(shape, -1, np.float32)
        self.left_red, self._short = np.zeros((2, *shape), np.bool_)
        self.before, self.before_saturated = here, np.zeros(shape, np.bool_)

    def state(self) -> tuple[NDArray[Any], ...]:
        pairs = *self.red, *self.other, *self.before
        signs = self.last, self.left_red, self._short, self.before_saturated
        return *pairs, *signs, self._purity, self.distance

    def take(self, here: Chroma, purity: F32, distance: F32, to_red: Bits, from_red: Bits) -> None:
        np.copyto(self.last, 1, where=to_red, casting="unsafe")
        np.copyto(self.last, -1, where=from_red, casting="unsafe")
        self._forget(to_red, from_red)
        redder = (self.last >= 0) & (purity > self._purity)
        np.copyto(self._purity, purity, where=redder)
        _keep(self.red, here, redder)
        self._short &= ~redder
        farther = (self.last <= 0) & (distance > self.distance)
        np.copyto(self.distance, distance, where=farther)
        _keep(self.other, here, farther)
        self.before, self.before_saturated = here, purity > 0

    def note_pairs(self, here: Chroma, back: Bits, from_red: Bits) -> None:
        """Note changes back towards red that end short of a saturated one, and what the changes away leave."""
        self.left_red = (self.left_red | from_red & ~self._short) & (self.last < 0)
        self._short = (self._short | back) & ~from_red
        _keep(self.red, here, back)

    def _forget(self, to_red: Bits, from_red: Bits) -> None:
        if not (to_red.any() or from_red.any()):
            return
        np.copyto(self._purity, 0, where=to_red | from_red)
        np.copyto(self.distance, -1, where=to_red | from_red)
        for axis in (0, 1):
            np.copyto(self.red[axis], np.nan, where=from_red)
            np.copyto(self.other[axis], np.nan, where=to_red)


def _nowhere(shape: tuple[int, ...]) -> Chroma:
    return np.full(shape, np.nan, np.float32), np.full(shape, np.nan, np.float32)


def _keep(kept: Chroma, here: Chroma, where: Bits) -> None:
    for axis in (0, 1):
        np.copyto(kept[axis], here[axis], where=where)


_PURE_RED = uv_planes(*(np.array(c, np.float32) for c in (1, 0, 0)))
