"""The whole flash check against a slow oracle per pixel (pixel_oracle.py), written from WCAG 2.2 and apart from it."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import pytest

from eye import drawn_films, pixel_oracle
from keyturn.eye import luminance
from keyturn.eye.flash_check import flash_check
from keyturn.eye.screen import Screen
from keyturn.shop import rulebook
from keyturn.shop.records import FlashRecord

RULES = rulebook.Flash(source="W3C WCAG 2.2, 2.3.1")


@dataclass
class Painted:
    rgb: np.ndarray
    cell_px: float
    given: bool = True

    def cells(self) -> np.ndarray:
        return luminance.cells(self.rgb, self.cell_px)

    def pixels(self) -> np.ndarray | None:
        return self.rgb if self.given else None


def checked(
    pictures: list[np.ndarray], times: list[float], field: tuple[float, float], given: bool = True
) -> FlashRecord:
    screen = Screen.with_field((pictures[0].shape[1], pictures[0].shape[0]), field, RULES)
    painted = [Painted(rgb, screen.cell_px, given) for rgb in pictures]
    return flash_check(screen, RULES, lambda: zip(times, painted, strict=True))


@functools.cache
def films() -> tuple[drawn_films.Drawn, ...]:
    return tuple(drawn_films.all_films())


def disagreements(some: tuple[drawn_films.Drawn, ...]) -> list[str]:
    wrong = []
    for film in some:
        pictures, times = film.pictures(), list(film.times)
        passes, share = pixel_oracle.verdict(pixel_oracle.Film(pictures, times, film.field))
        if checked(pictures, times, film.field).passes != passes:
            wrong.append(f"{film.name}: {'passes' if passes else 'fails'}, {share:.4f} of a field")
    return wrong


def test_films_near_the_limits_are_judged_as_by_the_oracle() -> None:
    assert disagreements(films()[::24]) == []


@pytest.mark.slow
@pytest.mark.parametrize("part", range(6))
def test_all_films_near_the_limits_are_judged_as_by_the_oracle(part: int) -> None:
    assert disagreements(films()[part::6]) == []


# -- boxes whose border decides: areas by plain arithmetic ---------------------------------------------

FIELD = (341, 256)
"""WCAG 2.2: a quarter of 341 x 256 px is 21,824 px."""


def boxed(width: int, height: int, place: tuple[int, int], inside: list[int], ground: list[int]) -> list[np.ndarray]:
    """A box of these greys on ground of those, on a window of 512 x 384 px."""
    left, top = place
    pictures = []
    for grey, other in zip(inside, ground, strict=True):
        rgb = np.full((384, 512, 3), other, np.uint8)
        rgb[top : top + height, left : left + width] = grey
        pictures.append(rgb)
    return pictures


SEVEN, SIX = [30, 200] * 4 + [200], [30, 200] * 3 + [30] * 3
"""Seven transitions, and six: the ground stays dark when the box turns bright for the last time."""

TIMES = [n / 15 for n in range(9)]


@pytest.mark.parametrize("place", [(0, 0), (97, 71), (331, 259)])
@pytest.mark.parametrize(
    ("width", "height", "passes"),
    [
        (177, 125, False),  # 22,125 px, 25.35 %
        (178, 125, False),  # 25.49 %
        (180, 126, False),  # 25.98 %
        (176, 124, True),  # 21,824 px, a quarter: "no more than 25 %"
        (176, 122, True),  # 24.6 %
        (174, 121, True),  # 24.1 %
    ],
)
def test_seven_transitions_on_ground_that_makes_six(
    width: int, height: int, passes: bool, place: tuple[int, int]
) -> None:
    assert checked(boxed(width, height, place, SEVEN, SIX), TIMES, FIELD).passes is passes


@pytest.mark.parametrize("top", [0, 1, 100, 320])
@pytest.mark.parametrize(("rows", "passes"), [(63, True), (64, True), (65, False)])
def test_a_strip_of_exactly_a_quarter_of_every_field_passes(rows: int, passes: bool, top: int) -> None:
    # 64 of the field's 256 rows are 25.0 %
    film = boxed(512, rows, (0, min(top, 384 - rows)), SEVEN, [30] * 9)
    report = checked(film, TIMES, FIELD)
    assert report.passes is passes
    assert report.field_share == pytest.approx(rows / 256, abs=1e-6)


@pytest.mark.parametrize("shift", range(4))
def test_stripes_of_a_tenth_of_a_degree_are_seen_though_cells_dilute_them(shift: int) -> None:
    # 4 px are 0.117 degree at 341 px to 10 degrees. Greys 60 and 108: 0.0452 and 0.1500, a step of 0.105
    low, high = np.full((384, 512, 3), 60, np.uint8), np.full((384, 512, 3), 60, np.uint8)
    high[:, (np.arange(512) + shift) % 8 < 4] = 108
    assert not checked([low, high] * 5, [n / 15 for n in range(10)], FIELD).passes


@pytest.mark.parametrize("side", [1, 2, 3])
def test_a_checkerboard_finer_than_a_tenth_of_a_degree_is_exempt(side: int) -> None:
    # WCAG 2.2: "an alternating checkerboard pattern with 'squares' smaller than 0.1 degree"; 3 px are 0.088
    y, x = np.indices((384, 512))
    board = np.repeat((((y // side + x // side) % 2) * 255).astype(np.uint8)[..., None], 3, axis=2)
    assert checked([board, 255 - board] * 6, [n / 15 for n in range(12)], FIELD).passes


@pytest.mark.parametrize("step_px", [1, 2, 3, 5])
@pytest.mark.parametrize(("cols", "passes"), [(85, True), (87, False)])
def test_two_areas_in_turn_are_judged_alike_wherever_their_border_lies(cols: int, passes: bool, step_px: int) -> None:
    """Three flashes each in one second: six flashes. Each is below the limit with 85 of 341 columns, above with 87.

    WCAG 2.2: content passes where "there are no more than three general flashes ... within any one-second period", or
    "the combined area of flashes occurring concurrently" is at most a quarter. The two never flash at once.
    """
    pictures = []
    for n in range(14):
        rgb = np.full((384, 512, 3), 20, np.uint8)
        left = 31 + step_px if n < 6 else 31 + step_px + cols
        if n < 12:
            rgb[:, left : left + cols] = 20 + 200 * (n % 2)
        pictures.append(rgb)
    assert checked(pictures, [n / 15 for n in range(14)], FIELD).passes is passes


# -- what is looked at twice -----------------------------------------------------------------------------


def test_without_pixels_areas_are_estimated_from_cells() -> None:
    large, small = boxed(300, 200, (50, 50), SEVEN, [30] * 9), boxed(100, 100, (50, 50), SEVEN, [30] * 9)
    assert not checked(large, TIMES, FIELD, given=False).passes
    assert checked(small, TIMES, FIELD, given=False).passes


def test_pixels_are_asked_for_only_where_cells_cannot_decide() -> None:
    asked: list[float] = []

    class Watched(Painted):
        def pixels(self) -> np.ndarray:
            asked.append(1)
            return self.rgb

    screen = Screen.with_field((512, 384), FIELD, RULES)
    still, later = [0.0, *(5 + t for t in TIMES)], boxed(176, 124, (97, 71), SEVEN, [30] * 9)
    pictures = [Watched(rgb, screen.cell_px) for rgb in [later[0], *later]]
    assert flash_check(screen, RULES, lambda: zip(still, pictures, strict=True)).passes
    assert 0 < len(asked) <= len(pictures)
    asked.clear()
    slow = [n / 5 for n in range(10)]
    assert flash_check(screen, RULES, lambda: zip(slow, pictures, strict=True)).passes and not asked


def test_a_flash_that_began_long_after_the_first_picture_is_found() -> None:
    film = boxed(180, 126, (97, 71), SEVEN, SIX)
    times = [0.0, *(10 + t for t in TIMES), *(20 + t for t in TIMES)]
    report = checked([film[0], *film, *film], times, FIELD)
    assert not report.passes
    assert 10 < report.worst_at_s < 11
