"""The page and the chart of what films taught: which frame came when, the fitted line, and where it was cut off."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from keyturn.calibrate.film_learning import FilmedStart, FilmLearnt
from keyturn.calibrate.film_report import doubts, facts, start_line
from keyturn.calibrate.report import starts
from keyturn.pages import render
from keyturn.pages.charts import ticks

WIDE, HIGH = 900, 460
LEFT, RIGHT, TOP, FOOT = 64, 20, 16, 44
MOST_DOTS = 400
"""Most dots of one film; of more frames some are left out."""

PAGE, PICTURE = "calibration.html", "calibration.svg"
"""Names of the files."""


@dataclass(frozen=True, slots=True)
class FilmCurve:
    """One film in the picture: a dot for each frame that was seen, the fitted line, and the cut; all in px."""

    name: str
    dots: tuple[tuple[float, float], ...]
    line: tuple[tuple[float, float], ...]
    cut_x: float
    cut_y: float


@dataclass(frozen=True, slots=True)
class FilmChart:
    """The picture: marks of both axes as (place in px, label), and the films."""

    across: tuple[tuple[float, str], ...]
    up: tuple[tuple[float, str], ...]
    films: tuple[FilmCurve, ...]


def chart(learnt: FilmLearnt) -> FilmChart:
    """Return the picture's geometry. Time is counted from frame 1; frames as they are played, repeats and all."""
    end_s = 1.04 * max(start.boot_s for start in learnt.starts)
    most = 1.06 * max(start.timeline.counted[-1].place + 1 for start in learnt.starts)

    def x(seconds: float) -> float:
        return round(LEFT + (WIDE - LEFT - RIGHT) * seconds / end_s, 1)

    def y(frames: float) -> float:
        return round(HIGH - FOOT - (HIGH - TOP - FOOT) * frames / most, 1)

    return FilmChart(
        across=tuple((x(at), f"{at:g}") for at in ticks(end_s, 10)),
        up=tuple((y(at), f"{at:g}") for at in ticks(most, 8)),
        films=tuple(
            FilmCurve(
                start.timeline.film,
                tuple((x(at), y(frames)) for at, frames in _seen(start)),
                tuple((x(at), y(frames)) for at, frames in _fitted(learnt, start)),
                x(start.shown_s),
                y(start.timeline.counted[-1].place + 1),
            )
            for start in learnt.starts
        ),
    )


def _seen(start: FilmedStart) -> list[tuple[float, int]]:
    """Return a dot for each frame: when it came, in s after frame 1, and how many frames had come by then."""
    step = -(-len(start.timeline.counted) // MOST_DOTS)
    counted = [c for c in start.timeline.counted if c.came.width < float("inf")][::step]
    return [(max(0.0, c.came.middle - start.first_s), c.place + 1) for c in counted]


def _fitted(learnt: FilmLearnt, start: FilmedStart) -> list[tuple[float, int]]:
    """Return the two ends of a line through the frames of the last play, as steep as the interval that was learnt."""
    plan = start.timeline.plan
    slope = next(rate.line.slope for rate in learnt.rates if rate.fps == plan.fps)
    last = start.timeline.counted[-1]
    shown = [c for c in start.timeline.counted if (c.part, c.play) == (last.part, last.play)]
    middle = shown[len(shown) // 2]
    heights = sorted(c.came.middle - slope * c.place for c in shown)
    base_s = heights[len(heights) // 2] - start.first_s
    reach = max(1, len(shown) // 20)
    ends = (max(0, shown[0].place - reach), last.place + reach) if len(shown) > 1 else (middle.place, middle.place)
    return [(max(0.0, base_s + slope * place), place + 1) for place in ends]


def picture(learnt: FilmLearnt) -> Markup:
    """Return the picture as SVG."""
    values = {"wide": WIDE, "high": HIGH, "left": LEFT, "right": WIDE - RIGHT, "top": TOP, "foot": HIGH - FOOT}
    return render.fragment("film_chart.svg.j2", chart=chart(learnt), box=values)


def film_page(learnt: FilmLearnt, title: str, made_on: str, kept: str) -> str:
    """Return the page. `title` is the radio's, `made_on` a day, `kept` says where what was learnt has gone."""
    return render.page(
        "calibration.html.j2",
        styles=("calibration.css",),
        learnt=learnt,
        title=title,
        made_on=made_on,
        kept=kept,
        starts=starts(len(learnt.starts)),
        lines=[start_line(start) for start in learnt.starts],
        facts=facts(learnt),
        doubts=doubts(learnt),
        picture=picture(learnt),
    )
