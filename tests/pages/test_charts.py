"""The charts: marks on the axes, and what the sheet says beside them."""

from __future__ import annotations

from itertools import pairwise
from types import ModuleType

import pytest

from keyturn.pages.charts import ticks
from page_text import text_of


def test_the_boot_chart_says_in_words_what_it_draws(by_hand: ModuleType) -> None:
    late = by_hand.timeline(once_only_s=17.0, share_finished=0.98, boot_samples_s=(16.0, 19.0, 21.0))
    text = text_of(by_hand.sheet_of(by_hand.job(by_hand.radio(timeline=late))))
    assert "ends 17.0 s after the first frame and finishes in 98 % of starts; 95 % was asked for" in text
    assert "Starts (3 measured) take 16.0 s to 21.0 s, usually 19.0 s." in text
    assert "overlap" in text
    assert "overlap" not in text_of(by_hand.sheet_of(by_hand.job()))


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
    assert "No flashes were found." in page


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
