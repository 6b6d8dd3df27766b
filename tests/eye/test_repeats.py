"""Plays of a loop that begin alike are not worked out again, and every figure stays as it is."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from keyturn.eye import luminance, repeats
from keyturn.eye.flash import FlashMeter
from keyturn.eye.screen import Screen
from keyturn.eye.transitions import Luminance
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")
SCREEN = Screen(96, 72, (60.0, 45.0), 3.4)
STATES = np.array([(0, 0, 0), (70, 70, 70), (190, 190, 190), (210, 0, 0)], np.uint8)


def pictures(count: int, seed: int) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    blocks = STATES[rng.choice(4, (count, 9, 12), p=[0.4, 0.2, 0.3, 0.1])]
    return [luminance.cells(each.repeat(8, 0).repeat(8, 1), SCREEN.cell_px) for each in blocks]


class Loop:
    """Pictures that come once, then a loop of some plays, then others; `worked_out` counts the pictures looked at."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, seed: int, fps: int) -> None:
        self.before, self.loop, self.after = (pictures(count, seed + n) for n, count in enumerate((3, 6, 4)))
        self.fps, self.worked_out = fps, 0
        real = Luminance.step

        def step(kind: Luminance, *told: object) -> object:
            self.worked_out += 1
            return real(kind, *told)

        monkeypatch.setattr(Luminance, "step", step)

    def record(self, plays: int, seams: bool) -> FlashRecord:
        self.worked_out = 0
        meter, times = FlashMeter(SCREEN, RULES), itertools.count()
        for cells in self.before:
            meter.show(cells, next(times) / self.fps)
        for play, (frame, cells) in itertools.product(range(plays), enumerate(self.loop)):
            meter.show(cells, next(times) / self.fps, "loop" if seams and play and frame == 0 else None)
        for cells in self.after:
            meter.show(cells, next(times) / self.fps)
        self.worked_out //= 2  # once for the count, once for what pixels may have made
        return meter.report()


@pytest.mark.parametrize("seed", range(0, 40, 10))
@pytest.mark.parametrize("fps", [4, 13, 30])
def test_the_figures_are_those_of_plays_that_are_worked_out(
    monkeypatch: pytest.MonkeyPatch, seed: int, fps: int
) -> None:
    film = Loop(monkeypatch, seed, fps)
    whole = film.record(7, seams=False)
    assert film.worked_out == 3 + 7 * 6 + 4
    assert film.record(7, seams=True) == whole
    assert film.worked_out <= 3 + 4 * 6 + 4  # after three plays at the latest the state has come round


def test_a_play_that_takes_too_much_memory_is_worked_out_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    film = Loop(monkeypatch, 3, 13)
    whole = film.record(5, seams=True)
    monkeypatch.setattr(repeats, "MOST_BYTES", 100)
    assert film.record(5, seams=True) == whole
    assert film.worked_out == 3 + 5 * 6 + 4


def test_plays_from_another_state_are_worked_out() -> None:
    """The same name is not enough: what happened before counts too."""
    seen = repeats.Repeats()
    pair = (np.ones((2, 2), np.bool_), np.zeros((2, 2), np.bool_))
    seen.begin("loop", lambda: [np.zeros(3)])
    assert seen.known((2, 2)) is None
    seen.note([pair])
    seen.begin("loop", lambda: [np.ones(3)])
    assert seen.known((2, 2)) is None
    seen.note([pair])
    seen.begin("loop", lambda: [np.ones(3)])
    ((rises, falls),) = seen.known((2, 2)) or ()
    assert rises.all() and not falls.any()
    assert seen.known((2, 2)) is None
