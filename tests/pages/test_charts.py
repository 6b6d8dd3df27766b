"""The charts: their geometry, the marks on their axes, and the words beside them."""

from __future__ import annotations

from itertools import pairwise
from types import ModuleType

import pytest

from keyturn.pages.charts import boot_chart, flash_chart, meter, ticks
from keyturn.shop.records import FinishedRecord, FlashRecord
from page_text import text_of


def test_the_boot_chart_says_in_words_what_it_draws(by_hand: ModuleType) -> None:
    late = by_hand.timeline(once_only_s=17.0, share_finished=0.98, boot_samples_s=(16.0, 19.0, 21.0))
    text = text_of(by_hand.sheet_of(by_hand.job(by_hand.radio(timeline=late))))
    assert "ends 17.0 s after the first frame and finishes in 98 % of starts; 95 % was asked for" in text
    assert "Starts (3 measured) take 16.0 s to 21.0 s, usually 19.0 s." in text
    assert "overlap" in text
    assert "overlap" not in text_of(by_hand.sheet_of(by_hand.job()))


def test_so_many_of_so_many_starts_is_said_of_measured_starts_alone(by_hand: ModuleType) -> None:
    share = FinishedRecord(finished=19, starts=20, low=0.85, high=1.0)
    measured = by_hand.timeline(
        once_only_s=17.0, share_finished=0.95, boot_samples_s=(16.0, *[19.0] * 19), measured=share
    )
    text = text_of(by_hand.sheet_of(by_hand.job(by_hand.radio(timeline=measured))))
    assert "finished in 19 of 20 measured starts: that makes 85 % to 100 % of all starts; 95 % was asked for" in text
    assert "17.0 s, finished in 19 of 20 measured starts (85 % to 100 % of all starts)" in text
    assert "plays to its end in 19 of these 20 starts; in the others" in text
    assert "measured starts" not in text_of(by_hand.sheet_of(by_hand.job()))


@pytest.mark.parametrize("flashes", [1, 3, 7])
def test_the_flash_chart_tells_its_worst_second(by_hand: ModuleType, flashes: int) -> None:
    record = by_hand.radio().flash.model_copy(
        update={"general_max_per_s": flashes, "passes": flashes <= 3, "per_second": ((2.0, flashes, 0),)}
    )
    page = by_hand.sheet_of(by_hand.job(by_hand.radio(flash=record)))
    assert f"General flashes a second: at most {flashes}, 3 allowed" in page
    assert ('class="above"' in page) == (flashes > 3)
    assert ("does not pass" in page) == (flashes > 3)


def test_a_job_without_a_flash_has_no_flash_chart(by_hand: ModuleType) -> None:
    still = by_hand.radio().flash.model_copy(update={"general_max_per_s": 0, "per_second": ((1.0, 0, 0),)})
    page = by_hand.sheet_of(by_hand.job(by_hand.radio(flash=still)))
    assert "General flashes a second" not in page
    assert "We looked for flashing light and found none." in page


@pytest.mark.parametrize("end", [0.05, 0.9, 3.3, 21.8, 47.0, 600.0])
def test_axis_marks_are_few_even_and_round(end: float) -> None:
    marks = ticks(end)
    steps = {round(b - a, 6) for a, b in pairwise(marks)}
    assert marks[0] == 0
    assert marks[-1] <= end
    assert len(marks) <= 8
    assert len(steps) <= 1
    # 1, 2 or 5 times a power of ten: common practice of chart drawing, no source
    assert all(f"{step:.0e}"[0] in "125" for step in steps)


def test_bars_of_the_boot_chart_lie_where_their_seconds_are(by_hand: ModuleType) -> None:
    """48 frames of 0.1 s with a pause of 0.5 s, once; starts of 16, 19 and 21 s. Arithmetic."""
    chart = boot_chart(by_hand.radio())
    axis_s = 100 * 21 / (chart.spread.x + chart.spread.width)
    assert axis_s > 21
    assert chart.spread.x == pytest.approx(100 * 16 / axis_s)
    assert chart.usual_x == pytest.approx(100 * 19 / axis_s)
    (lamps,) = chart.parts
    assert (lamps.x, lamps.label) == (0, "part 1")
    assert lamps.width == pytest.approx(100 * 4.8 / axis_s)  # without the pause after the last frame
    assert chart.risk is None


def test_the_risk_is_where_starts_end_before_the_once_only_parts_do(by_hand: ModuleType) -> None:
    chart = boot_chart(by_hand.radio(timeline=by_hand.timeline(once_only_s=17.0, boot_samples_s=(16.0, 18.5))))
    assert chart.risk is not None
    assert chart.risk.x == pytest.approx(chart.spread.x)
    assert chart.risk.width == pytest.approx(chart.spread.width / 5)  # 16 to 17 of 16 to 21
    assert chart.samples == pytest.approx((chart.spread.x, chart.spread.x + chart.spread.width / 2))


def flash(*per_second: tuple[float, int, int]) -> FlashRecord:
    return FlashRecord(
        passes=True, general_max_per_s=2, red_max_per_s=1, most_per_s=3, worst_at_s=0.0, per_second=per_second
    )


def test_the_flash_chart_has_a_column_for_each_second_with_flashes() -> None:
    chart = flash_chart(flash((0.0, 1, 0), (3.0, 2, 1)), 7.2)
    assert chart is not None
    general, red = chart.rows
    assert [(round(x, 3), value) for x, _, _, value in general.columns] == [(0, 1), (37.5, 2)]  # of 8 s
    assert [(round(x, 3), value) for x, _, _, value in red.columns] == [(37.5, 1)]
    assert general.columns[1][2] == pytest.approx(2 / 3 * chart.limit_px)
    assert (general.most, red.most, chart.limit) == (2, 1, 3)


def test_a_very_long_flash_chart_keeps_its_worst_seconds() -> None:
    chart = flash_chart(flash(*((float(s), 3 if s == 777 else 1, 0) for s in range(1000))), 10)
    assert chart is not None
    assert len(chart.rows[0].columns) <= 160
    assert max(value for *_, value in chart.rows[0].columns) == 3
    assert chart.rows[1].columns == ()


def test_a_chart_without_a_flash_is_none() -> None:
    assert flash_chart(flash(), 5) is None
    assert flash_chart(flash((0.0, 0, 0)), 5) is None


@pytest.mark.parametrize("value", [0.0, 4.0, 60.0, 75.0, 900.0])
def test_a_meter_keeps_its_proportions_and_fits_its_track(value: float) -> None:
    made = meter(value, 60.0)
    assert made.fill <= 100 and 0 < made.limit <= 80
    assert made.fill * 60 == pytest.approx(made.limit * value)
    assert made.over == (value > 60)
