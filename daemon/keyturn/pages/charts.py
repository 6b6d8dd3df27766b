"""The geometry of the sheet's charts.

Horizontal figures are in percent of the drawing's width, vertical ones in pixels. A chart then fits a phone and a
printed page without its text being scaled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from keyturn.pages.in_words import plays_s
from keyturn.pages.languages import ENGLISH, Language
from keyturn.shop.records import FlashRecord, RadioRecord, TimelineRecord

MOST_COLUMNS = 160
ROW_PX = 40


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis."""

    x: float
    label: str


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of an axis."""

    x: float
    width: float
    label: str


@dataclass(frozen=True, slots=True)
class BootChart:
    """When the once-only parts end, and when starts end. `risk` is the stretch in which a start may end too soon."""

    ticks: tuple[Tick, ...]
    parts: tuple[Bar, ...]
    spread: Bar
    usual_x: float
    samples: tuple[float, ...]
    risk: Bar | None
    words: str


def boot_chart(radio: RadioRecord, language: Language = ENGLISH) -> BootChart:
    """Return the chart. Its axis reaches a little beyond the longest start and the once-only parts."""
    timeline = radio.timeline
    end = 1.04 * max(timeline.boot_longest_s, timeline.once_only_s, timeline.interval_s)

    def bar(start_s: float, end_s: float, label: str) -> Bar:
        return Bar(100 * start_s / end, 100 * (end_s - start_s) / end, label)

    late = timeline.once_only_s > timeline.boot_shortest_s
    risk = bar(timeline.boot_shortest_s, min(timeline.once_only_s, timeline.boot_longest_s), "") if late else None
    return BootChart(
        ticks=_ticks(end, language),
        parts=tuple(bar(*part) for part in _once_only(radio)),
        spread=bar(timeline.boot_shortest_s, timeline.boot_longest_s, "starts"),
        usual_x=100 * timeline.boot_usual_s / end,
        samples=tuple(100 * s / end for s in timeline.boot_samples_s),
        risk=risk,
        words=_boot_words(radio, language),
    )


def _once_only(radio: RadioRecord) -> list[tuple[float, float, str]]:
    """Return (start, end, name) of each part before the first endless one, in seconds.

    The last part ends with its last frame: nothing moves in the pause after it.
    """
    found: list[tuple[float, float, str]] = []
    start = 0.0
    for number, part in enumerate(radio.parts, 1):
        if part.count == 0:
            break
        end = start + plays_s(part, radio.timeline)
        found.append((start, min(end, radio.timeline.once_only_s), f"part {number}"))
        start = end
    return found


def _boot_words(radio: RadioRecord, language: Language) -> str:
    timeline, _ = radio.timeline, language.gettext
    span = {
        "shortest": language.seconds(timeline.boot_shortest_s),
        "longest": language.seconds(timeline.boot_longest_s),
        "usual": language.seconds(timeline.boot_usual_s),
    }
    if timeline.boot_samples_s:
        starts = language.ngettext(
            "Starts (%(num)s measured) take %(shortest)s to %(longest)s, usually %(usual)s.",
            "Starts (%(num)s measured) take %(shortest)s to %(longest)s, usually %(usual)s.",
            len(timeline.boot_samples_s),
            **span,
        )
    else:
        starts = _("Starts (assumed) take %(shortest)s to %(longest)s, usually %(usual)s.", **span)
    if timeline.once_only_s <= 0:
        return _("Nothing plays once only, so nothing has to finish.") + f" {starts}"
    once = _measured_end(timeline, language) or _(
        "What plays once ends %(end)s after the first frame and finishes in %(share)s of starts; "
        "%(wanted)s was asked for.",
        end=language.seconds(timeline.once_only_s),
        share=language.share(timeline.share_finished),
        wanted=language.share(timeline.finish_wanted),
    )
    return f"{once} {starts}"


def _measured_end(timeline: TimelineRecord, language: Language) -> str:
    """Return when what plays once ends, and in how many of the measured starts; "" where too few were measured."""
    if timeline.measured is None:
        return ""
    return language.ngettext(
        "What plays once ends %(end)s after the first frame and finished in %(finished)s of %(num)s measured start: "
        "that makes %(low)s to %(high)s of all starts; %(wanted)s was asked for.",
        "What plays once ends %(end)s after the first frame and finished in %(finished)s of %(num)s measured starts: "
        "that makes %(low)s to %(high)s of all starts; %(wanted)s was asked for.",
        timeline.measured.starts,
        end=language.seconds(timeline.once_only_s),
        finished=language.decimal(timeline.measured.finished),
        low=language.share(timeline.measured.low),
        high=language.share(timeline.measured.high),
        wanted=language.share(timeline.finish_wanted),
    )


def ticks(end: float, most: int = 7) -> tuple[float, ...]:
    """Return round numbers from 0 up to `end`, 1, 2 or 5 times a power of ten apart.

    At most `most` steps are taken.
    """
    step = 0.1
    while end / step > most:
        step *= 2.5 if f"{step:.0e}".startswith("2") else 2
    return tuple(round(i * step, 6) for i in range(int(end / step) + 1))


def _ticks(end: float, language: Language) -> tuple[Tick, ...]:
    marks = ((at, f"{at:g}".partition(".")[2]) for at in ticks(end))
    return tuple(Tick(100 * at / end, language.decimal(at, len(decimals))) for at, decimals in marks)


@dataclass(frozen=True, slots=True)
class FlashRow:
    """One kind of flash. `columns` are (x, width, height in px, flashes a second); `most` is the highest figure."""

    name: str
    columns: tuple[tuple[float, float, float, int], ...]
    most: int


@dataclass(frozen=True, slots=True)
class FlashChart:
    """Flashes a second over time. `limit_px` is the height of the line at the `limit` that is allowed."""

    rows: tuple[FlashRow, ...]
    ticks: tuple[Tick, ...]
    limit_px: float
    limit: int


def flash_chart(flash: FlashRecord, until_s: float, language: Language = ENGLISH) -> FlashChart | None:
    """Return the chart, a row for general flashes and one for red ones, up to `until_s` or the last flash.

    Return None where nothing flashes. `flash.per_second` holds only the whole seconds in which luminance changed.
    """
    if not any(general or red for _, general, red in flash.per_second):
        return None
    _ = language.gettext
    end = max(math.ceil(until_s), int(flash.per_second[-1][0]) + 1)
    top = max(flash.most_per_s + 1, flash.general_max_per_s, flash.red_max_per_s)
    rows = (
        _flash_row(_("General flashes a second"), [(int(t), general) for t, general, _ in flash.per_second], end, top),
        _flash_row(_("Red flashes a second"), [(int(t), red) for t, _, red in flash.per_second], end, top),
    )
    return FlashChart(rows, _ticks(end, language), ROW_PX * flash.most_per_s / top, flash.most_per_s)


def _flash_row(name: str, series: Sequence[tuple[int, int]], end: int, top: int) -> FlashRow:
    """Return a row with a column a second. Where there are too many, a column shows the worst of several seconds."""
    together = math.ceil(end / MOST_COLUMNS)
    worst: dict[int, int] = {}
    for second, value in series:
        worst[second // together] = max(worst.get(second // together, 0), value)
    width = 100 * together / end
    columns = tuple((c * width, width, ROW_PX * v / top, v) for c, v in sorted(worst.items()) if v)
    return FlashRow(name, columns, max(value for _, value in series))


@dataclass(frozen=True, slots=True)
class Meter:
    """A figure beside its limit: `fill` and `limit` in percent of the bar's length; `over` where it is above."""

    fill: float
    limit: float
    over: bool


def meter(value: float, allowed: float) -> Meter:
    """Return a bar with its limit at four fifths, or further left where the figure would not fit."""
    end = max(allowed * 1.25, value, 1e-9)
    return Meter(100 * value / end, 100 * allowed / end, value > allowed)
