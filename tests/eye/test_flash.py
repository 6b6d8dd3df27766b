"""The flash meter: worked values of WCAG 2.2, where it draws its lines, and several hundred labelled sequences."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from eye import labelled
from keyturn.eye import luminance
from keyturn.eye.flash import FlashMeter
from keyturn.eye.flash_check import flash_check
from keyturn.eye.screen import Screen
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")
SCREEN = Screen(16, 12, (16.0, 12.0), 1.0)


@functools.cache
def sequences(kind: str) -> tuple:
    return tuple(s for s in labelled.all_sequences() if s.kind == kind)


@dataclass(frozen=True)
class Painted:
    """One picture of a sequence, as the check asks for it."""

    rgb: np.ndarray
    cell_px: float

    def cells(self) -> np.ndarray:
        return luminance.cells(self.rgb, self.cell_px)

    def pixels(self) -> np.ndarray:
        return self.rgb


def judged(sequence) -> FlashRecord:
    wide = sequence.size == labelled.WCAG
    screen = Screen.with_field(sequence.size, (341, 256), RULES) if wide else Screen.wcag(RULES, sequence.size)

    def shown() -> Iterator[tuple[float, Painted]]:
        for number in range(sequence.pictures):
            yield number / labelled.FPS, Painted(sequence.picture(number), screen.cell_px)

    return flash_check(screen, RULES, shown)


@pytest.mark.parametrize("kind", ["luminance", "red", pytest.param("area", marks=pytest.mark.slow), "combination"])
def test_labelled_sequences_are_judged_as_labelled(kind: str) -> None:
    """Labels by construction from WCAG 2.2 and technique G19 (labelled.py)."""
    wrong = [s.name for s in sequences(kind) if judged(s).passes != s.passes]
    assert wrong == []
    verdicts = [s.passes for s in sequences(kind)]
    assert min(verdicts.count(True), verdicts.count(False)) >= 5


# -- one colour over the whole screen ---------------------------------------------------------------


def shown(levels: Iterable[int | tuple[int, int, int]], fps: float = 30, from_s: float = 0, rules=RULES) -> FlashRecord:
    meter = FlashMeter(SCREEN, rules)
    feed(meter, levels, fps, from_s)
    return meter.report()


def feed(meter: FlashMeter, levels: Iterable, fps: float = 30, from_s: float = 0) -> None:
    for number, level in enumerate(levels):
        rgb = np.empty((12, 16, 3), np.uint8)
        rgb[:] = level
        meter.show(luminance.cells(rgb, 1.0), from_s + number / fps)


def blinks(transitions: int, low: int = 0, high: int = 255, hold: int = 3) -> list[int]:
    return [(low, high)[n // hold % 2] for n in range(hold * (transitions + 1))]


def test_six_transitions_in_a_second_pass_and_seven_fail() -> None:
    # WCAG 2.2 technique G19: seven transitions within one second are more than three flashes
    six, seven = shown(blinks(6)), shown(blinks(7))
    assert (six.passes, six.general_max_per_s) == (True, 3)
    assert (seven.passes, seven.general_max_per_s) == (False, 4)
    assert seven.worst_at_s == pytest.approx(21 / 30)


@pytest.mark.parametrize(
    ("low", "high", "passes"),
    [(0, 89, True), (0, 90, False), (231, 255, False), (232, 255, True), (212, 230, False), (220, 231, True)],
)
def test_which_pairs_of_greys_flash(low: int, high: int, passes: bool) -> None:
    # Worked on WCAG 2.2's formulas: grey 90 is the first 0.10 above black, 231 = 0.7991, 232 above 0.80
    assert shown(blinks(10, low, high)).passes is passes


def test_three_flashes_a_second_may_go_on_for_ever() -> None:
    for fps in (24, 29.97, 30, 60):
        meter = FlashMeter(SCREEN, RULES)
        times = np.cumsum(np.full(90, 1 / 6))  # sums of sixths, which are not sixths
        for number, at_s in enumerate(times):
            feed(meter, [255 * (number % 2)], fps, at_s)
        assert meter.report().general_max_per_s == 3


def test_a_slow_fade_is_one_transition() -> None:
    up_and_down = [*range(0, 256, 8), *range(255, -1, -8)]
    assert shown(up_and_down, fps=60).general_max_per_s == 1
    assert shown(list(range(0, 256, 4)), fps=60).general_max_per_s == 0


def test_red_is_counted_by_itself() -> None:
    # (127,127,127) is as light as pure red to within 0.01, so that only the colour changes
    report = shown([(255, 0, 0), (127, 127, 127)] * 8)
    assert (report.passes, report.general_max_per_s) == (False, 0)
    assert report.red_max_per_s == 8
    assert shown([(255, 0, 0), (255, 128, 0)] * 8).red_max_per_s == 0  # 0.132 in u'v' is under 0.2


def test_a_loop_flashes_across_its_seam() -> None:
    once = blinks(6, hold=2)[2:]
    assert shown(once).passes
    meter = FlashMeter(SCREEN, RULES)
    feed(meter, once)
    feed(meter, once, from_s=len(once) / 30)
    assert not meter.report().passes


def test_a_still_and_an_empty_show_pass() -> None:
    assert FlashMeter(SCREEN, RULES).report().passes
    report = shown([80] * 40)
    assert (report.passes, report.general_max_per_s, report.red_max_per_s) == (True, 0, 0)
    assert (report.worst_at_s, report.per_second, report.most_per_s) == (0.0, (), 3)


def test_time_may_begin_below_zero_but_not_run_backwards() -> None:
    assert not shown(blinks(8), from_s=-2.0).passes
    meter = FlashMeter(SCREEN, RULES)
    feed(meter, [0], from_s=1)
    with pytest.raises(ValueError, match="cannot follow"):
        feed(meter, [0], from_s=0.9)


def test_cells_of_another_screen_are_an_error() -> None:
    with pytest.raises(ValueError, match="shape"):
        FlashMeter(SCREEN, RULES).show(np.zeros((3, 4, 3), np.uint16), 0)


def test_the_chart_tells_which_second_flashes() -> None:
    report = shown([80] * 30 + blinks(8) + [80] * 33)
    assert [row for row in report.per_second if row[1] > 3] == [(1.0, 4, 0)]


def test_a_shop_may_be_stricter() -> None:
    strict = RULES.model_copy(update={"most_per_second": 2})
    assert shown(blinks(5)).passes
    assert not shown(blinks(5), rules=strict).passes
    none = RULES.model_copy(update={"most_per_second": 0})
    assert not shown(blinks(2), rules=none).passes


# -- area -------------------------------------------------------------------------------------------


def flickering_box(screen: Screen, width: int, height: int, left: int = 0, top: int = 0) -> FlashRecord:
    meter = FlashMeter(screen, RULES)
    for number in range(20):
        rgb = np.zeros((screen.height_px, screen.width_px, 3), np.uint8)
        rgb[top : top + height, left : left + width] = 200 * (number % 2)
        meter.show(luminance.cells(rgb, screen.cell_px), number / 30)
    return meter.report()


def test_a_quarter_of_wcags_field_passes_and_more_fails() -> None:
    # WCAG 2.2: 25 % of 341 x 256 px = 21,824 px, "no more than"
    screen = Screen.wcag(RULES)
    assert flickering_box(screen, 176, 124, 401, 213).passes
    assert not flickering_box(screen, 148, 148, 401, 213).passes


def test_a_panel_smaller_than_the_field_is_held_against_the_whole_field() -> None:
    # WCAG 2.2 bounds a solid angle (0.006 sr): a panel that is 4 degrees wide cannot exceed it
    assert flickering_box(Screen(40, 30, (100.0, 75.0), 1.0), 40, 30).passes
    assert not flickering_box(Screen(60, 45, (100.0, 75.0), 1.0), 60, 45).passes


def test_memory_of_the_past_is_one_second_long() -> None:
    meter = FlashMeter(SCREEN, RULES)
    feed(meter, [0, 255] * 15)
    kept = len(meter._general._cells._recent)
    feed(meter, [0, 255] * 300, from_s=1)
    assert len(meter._general._cells._recent) <= kept + 1
