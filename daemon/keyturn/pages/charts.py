"""The geometry of the sheet's charts. Pure.

Across, everything is percent of the drawing's width, so a chart fits a phone and a page without its text
being scaled; down, it is pixels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from keyturn.pages.in_words import play_s
from keyturn.pages.render import seconds, share
from keyturn.shop.records import FlashRecord, RadioRecord

MOST_COLUMNS = 160
ROW_PX = 40


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    label: str


@dataclass(frozen=True, slots=True)
class Bar:
    x: float
    width: float
    label: str


@dataclass(frozen=True, slots=True)
class BootChart:
    """When the parts that play once end, against when starts end. `risk` is where both overlap, or None."""

    ticks: tuple[Tick, ...]
    parts: tuple[Bar, ...]
    spread: Bar
    usual_x: float
    samples: tuple[float, ...]
    risk: Bar | None
    words: str


def boot_chart(radio: RadioRecord) -> BootChart:
    timeline = radio.timeline
    end = 1.04 * max(timeline.boot_longest_s, timeline.once_only_s, timeline.interval_s)

    def bar(start_s: float, end_s: float, label: str) -> Bar:
        return Bar(100 * start_s / end, 100 * (end_s - start_s) / end, label)

    late = timeline.once_only_s > timeline.boot_shortest_s
    risk = bar(timeline.boot_shortest_s, min(timeline.once_only_s, timeline.boot_longest_s), "") if late else None
    return BootChart(
        ticks=tuple(Tick(100 * at / end, f"{at:g}") for at in ticks(end)),
        parts=tuple(bar(*part) for part in _once_only(radio)),
        spread=bar(timeline.boot_shortest_s, timeline.boot_longest_s, "starts"),
        usual_x=100 * timeline.boot_usual_s / end,
        samples=tuple(100 * s / end for s in timeline.boot_samples_s),
        risk=risk,
        words=_boot_words(radio),
    )


def _once_only(radio: RadioRecord) -> list[tuple[float, float, str]]:
    """(start, end, name) of the parts before the first endless one; the last one's pause moves nothing."""
    found: list[tuple[float, float, str]] = []
    start = 0.0
    for part in radio.parts:
        if part.count == 0:
            break
        end = start + part.count * play_s(part, radio.timeline.interval_s)
        found.append((start, min(end, radio.timeline.once_only_s), part.path))
        start = end
    return found


def _boot_words(radio: RadioRecord) -> str:
    timeline = radio.timeline
    source = f"{len(timeline.boot_samples_s)} measured" if timeline.boot_samples_s else "assumed"
    starts = (
        f"Starts ({source}) take {seconds(timeline.boot_shortest_s)} to {seconds(timeline.boot_longest_s)}, "
        f"usually {seconds(timeline.boot_usual_s)}."
    )
    if timeline.once_only_s <= 0:
        return f"Nothing plays once only, so nothing has to finish. {starts}"
    return (
        f"What plays once ends {seconds(timeline.once_only_s)} after the first frame and finishes in "
        f"{share(timeline.share_finished)} of starts; {share(timeline.finish_wanted)} was asked for. {starts}"
    )


def ticks(end: float, most: int = 7) -> tuple[float, ...]:
    """Round numbers from 0 up to `end`, 1, 2 or 5 times a power of ten apart, `most` at most."""
    step = 0.1
    while end / step > most:
        step *= 2.5 if f"{step:.0e}".startswith("2") else 2
    return tuple(round(i * step, 6) for i in range(int(end / step) + 1))


@dataclass(frozen=True, slots=True)
class FlashRow:
    """`columns`: bars of (x, width, height in px, value); `most` is the greatest value."""

    name: str
    columns: tuple[tuple[float, float, float, int], ...]
    most: int


@dataclass(frozen=True, slots=True)
class FlashChart:
    rows: tuple[FlashRow, ...]
    ticks: tuple[Tick, ...]
    limit_px: float
    limit: int


def flash_chart(flash: FlashRecord, until_s: float) -> FlashChart | None:
    """Flashes a second against time, general above red, at least up to `until_s`; None where nothing flashes.

    `per_second` names whole seconds, and only those in which a transition came about.
    """
    if not any(general or red for _, general, red in flash.per_second):
        return None
    end = max(math.ceil(until_s), int(flash.per_second[-1][0]) + 1)
    top = max(flash.most_per_s + 1, flash.general_max_per_s, flash.red_max_per_s)
    rows = (
        _flash_row("General flashes", [(int(t), general) for t, general, _ in flash.per_second], end, top),
        _flash_row("Red flashes", [(int(t), red) for t, _, red in flash.per_second], end, top),
    )
    marks = tuple(Tick(100 * at / end, f"{at:g}") for at in ticks(end))
    return FlashChart(rows, marks, ROW_PX * flash.most_per_s / top, flash.most_per_s)


def _flash_row(name: str, series: Sequence[tuple[int, int]], end: int, top: int) -> FlashRow:
    """A column a second, or the worst of several seconds where there are very many."""
    together = math.ceil(end / MOST_COLUMNS)
    worst: dict[int, int] = {}
    for second, value in series:
        worst[second // together] = max(worst.get(second // together, 0), value)
    width = 100 * together / end
    columns = tuple((c * width, width, ROW_PX * v / top, v) for c, v in sorted(worst.items()) if v)
    return FlashRow(name, columns, max(value for _, value in series))


@dataclass(frozen=True, slots=True)
class Meter:
    """`fill` in percent of the track, the limit at `limit`; `over` where the figure is above its limit."""

    fill: float
    limit: float
    over: bool


def meter(value: float, allowed: float) -> Meter:
    """A bar whose limit stands at four fifths, or further left where the figure goes beyond the end."""
    end = max(allowed * 1.25, value, 1e-9)
    return Meter(100 * value / end, 100 * allowed / end, value > allowed)
