"""The counts of general and red flashes together: what they come to at each moment, and what is reported."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keyturn.eye.area import Fields
from keyturn.eye.transition_count import TICK_S, TransitionCount
from keyturn.shop.records import FlashRecord


@dataclass(frozen=True, slots=True)
class Findings:
    """Transitions of each kind, the largest share of a field that made too many, and when they were seen.

    `reached` tells when each number of flashes was first reached, `chart` the flashes of each second.
    """

    general: int
    red: int
    share: float
    reached: tuple[tuple[int, float], ...]
    chart: dict[int, tuple[int, int]]

    def fails(self, most_per_second: int) -> bool:
        return max(self.general, self.red) > 2 * most_per_second

    def at_most(self, most_per_second: int) -> Findings:
        """Return these findings with every count brought down to what is allowed."""
        chart = {s: (min(g, most_per_second), min(r, most_per_second)) for s, (g, r) in self.chart.items()}
        reached = tuple(row for row in self.reached if row[0] <= most_per_second)
        general, red = (min(n, 2 * most_per_second) for n in (self.general, self.red))
        return Findings(general, red, self.share, reached, chart)

    def record(self, most_per_second: int) -> FlashRecord:
        return FlashRecord(
            passes=not self.fails(most_per_second),
            general_max_per_s=flashes(self.general),
            red_max_per_s=flashes(self.red),
            most_per_s=most_per_second,
            worst_at_s=self.reached[-1][1] if self.reached else 0.0,
            field_share=self.share,
            per_second=tuple((float(s), g, r) for s, (g, r) in sorted(self.chart.items())),
        )


def settled(coarse: Findings, close: Sequence[Findings], most_per_second: int) -> Findings:
    """Return what was found by cells, corrected by close looks at all that cells could not decide.

    A close look ends once it fails. So where both fail, the figures of the cells stand.
    """
    fails = any(look.fails(most_per_second) for look in close)
    base = coarse if fails else coarse.at_most(most_per_second)
    chart = dict(base.chart)
    for look in close:
        for second, found in look.chart.items():
            before = chart.get(second, (0, 0))
            chart[second] = max(before[0], found[0]), max(before[1], found[1])
    worst = max(base.reached[-1:], *(look.reached[-1:] for look in close), key=lambda rows: rows[0][0] if rows else 0)
    return Findings(
        general=max(base.general, *(look.general for look in close)),
        red=max(base.red, *(look.red for look in close)),
        share=max((look.share for look in close), default=base.share),
        reached=worst,
        chart=chart,
    )


class FlashCounts:
    """General and red flashes of pictures that are shown one after the other."""

    def __init__(self, fields: Fields, general: TransitionCount, red: TransitionCount) -> None:
        self._fields = fields
        self._general, self._red = general, red
        self._reached: list[tuple[int, float]] = []
        self._chart: dict[int, tuple[int, int]] = {}

    @property
    def fails(self) -> bool:
        return any(kind.most >= kind.failing for kind in (self._general, self._red))

    def judge(self, at_s: float) -> None:
        """Judge the moment `at_s`, once its transitions have been added."""
        self._general.judge(at_s)
        self._red.judge(at_s)
        if self._general.now < self._general.failing and self._red.now < self._red.failing:
            self._judge_together(at_s)
        worst = flashes(max(self._general.now, self._red.now))
        if worst > (self._reached[-1][0] if self._reached else 0):
            self._reached.append((worst, at_s))
        second = math.floor(at_s + TICK_S)
        general, red = self._chart.get(second, (0, 0))
        self._chart[second] = max(general, flashes(self._general.now)), max(red, flashes(self._red.now))

    def _judge_together(self, at_s: float) -> None:
        """Fail general flashes here and red ones there whose areas are too large together, though not each alone."""
        if not (self._general.flashing_at(at_s) and self._red.flashing_at(at_s)):
            return
        share = self._fields.largest(np.maximum(self._general.area(at_s), self._red.area(at_s)))
        if share > self._fields.share_limit:
            self._general.fail(share)
            self._red.fail(share)

    def findings(self) -> Findings:
        """Return what was found over all pictures judged so far."""
        share = max(self._general.share, self._red.share)
        return Findings(self._general.most, self._red.most, share, tuple(self._reached), dict(self._chart))


def flashes(transitions_made: int) -> int:
    """Return the flashes in a number of transitions: pairs, and an odd one counts as the flash it begins.

    Six transitions are 3 flashes, seven are 4. A lone transition is none.
    """
    return 0 if transitions_made < 2 else (transitions_made + 1) // 2
