"""The flash check of pictures in order: by their cells, and by their pixels where cells cannot decide."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from keyturn.eye.close_look import CloseLook
from keyturn.eye.flash import FlashMeter
from keyturn.eye.flash_counts import Findings
from keyturn.eye.screen import Screen
from keyturn.eye.undecided import Stretch
from keyturn.shop.records import FlashRecord
from keyturn.shop.rulebook import Flash


class Picture(Protocol):
    """A picture of the screen's size. It may be asked more than once, and for pixels only seldom."""

    def cells(self) -> NDArray[np.uint16]:
        """Return `luminance.cells` of the picture."""
        ...

    def pixels(self) -> NDArray[np.uint8] | None:
        """Return the pixels, (height, width, 3) in sRGB; None where they are not to be had."""
        ...


Shown = Iterable[tuple[float, Picture]]
"""Pictures and the seconds at which they appear, in order."""


class FlashCheck:
    """The check of pictures that are shown one by one."""

    def __init__(self, screen: Screen, rules: Flash) -> None:
        self._screen, self._rules = screen, rules
        self._meter = FlashMeter(screen, rules)

    def show(self, at_s: float, picture: Picture, seam: Hashable | None = None) -> None:
        """Take the next picture and the second at which it appears; `seam` as in `FlashMeter.show`."""
        self._meter.show(picture.cells(), at_s, seam)

    def record(self, shown: Callable[[], Shown]) -> FlashRecord:
        """Return what was found. `shown` yields the same pictures again, each time anew, for a close look at them.

        Where pixels would be needed and are not to be had, areas are those that cells let one expect.
        """
        stretches = self._meter.undecided()
        close = [_closely(self._screen, self._rules, stretch, shown()) for stretch in stretches]
        return self._meter.report([findings for findings in close if findings] if all(close) else [])


def flash_check(screen: Screen, rules: Flash, shown: Callable[[], Shown]) -> FlashRecord:
    """Check the pictures that `shown` yields, each time anew (see `FlashCheck.record`)."""
    check = FlashCheck(screen, rules)
    for at_s, picture in shown():
        check.show(at_s, picture)
    return check.record(shown)


def _closely(screen: Screen, rules: Flash, stretch: Stretch, shown: Shown) -> Findings | None:
    look = CloseLook(screen, rules, stretch)
    for at_s, picture in _within(stretch, shown):
        pixels = picture.pixels()
        if pixels is None:
            return None
        look.show(picture.cells(), pixels, at_s)
        if look.fails:
            break
    return look.findings()


def _within(stretch: Stretch, shown: Shown) -> Iterator[tuple[float, Picture]]:
    """Yield the pictures that appear in a stretch, and first the one that stands when it begins."""
    standing: tuple[float, Picture] | None = None
    for at_s, picture in shown:
        if at_s > stretch.until_s:
            return
        if at_s <= stretch.from_s:
            standing = at_s, picture
            continue
        if standing:
            yield standing
            standing = None
        yield at_s, picture
