"""What film frames show, from looks at them."""

from __future__ import annotations

import numpy as np

from keyturn.calibrate import what_is_shown
from keyturn.calibrate.code_reading import CodeRead
from keyturn.calibrate.film_code import Code
from keyturn.calibrate.screen_looks import ROUGH, FilmLook
from keyturn.calibrate.stick_plan import OVER

CHANCE = np.random.default_rng(0)
GROUND = CHANCE.uniform(5, 40, ROUGH).astype(np.float32)
HOME = GROUND + CHANCE.uniform(0, 150, ROUGH).astype(np.float32)


def look(at: int, number: int | None, rough: np.ndarray | None = None, *, fps: int = 10, sure: float = 1.0) -> FilmLook:
    read = None if number is None else CodeRead(Code(fps, False, number), sure, 200.0, 20.0)
    return FilmLook(at / 30, read, 6 if read else 0, GROUND if rough is None else rough, 0.7)


def shown(looks: list[FilmLook]) -> list[object]:
    return [f.number if f.shows == "frame" else f.shows for f in what_is_shown.frames(looks, 10, False)]


def test_a_start_is_told_from_logo_to_home_screen() -> None:
    numbers = [None, 0, 0, 0, None, *(n for n in range(1, 20) for _ in range(3))]
    looks = [look(at, number) for at, number in enumerate(numbers)]
    looks += [look(len(looks) + at, None, HOME) for at in range(40)]
    assert shown(looks) == [*("black" if n is None else "logo" if n == 0 else n for n in numbers), *["other"] * 40]


def test_a_number_that_does_not_fit_those_around_it_is_not_told() -> None:
    numbers = [n for n in range(1, 20) for _ in range(3)]
    for odd in (150, 1, OVER - 1):
        looks = [look(at, odd if at == 30 else number) for at, number in enumerate(numbers)]
        assert shown(looks)[30] == "unread"
        assert [n for at, n in enumerate(shown(looks)) if at != 30] == [n for at, n in enumerate(numbers) if at != 30]


def test_the_detailed_part_may_be_shown_twice() -> None:
    numbers = [n for n in (*range(15, 31), *range(21, 36), OVER) for _ in range(3)]
    assert shown([look(at, number) for at, number in enumerate(numbers)]) == numbers


def test_another_stick_s_number_and_an_unsure_one_are_not_told() -> None:
    looks = [look(at, 1 + at // 3) for at in range(60)]
    looks[20], looks[40] = look(20, 7, fps=12), look(40, 14, sure=0.6)
    told = shown(looks)
    assert told[20] == told[40] == "unread" and told.count("unread") == 2


def test_a_hand_during_the_count_is_neither_black_nor_the_home_screen() -> None:
    looks = [look(at, 1 + at // 3) for at in range(60)]
    looks[20:30] = [look(at, None, GROUND) for at in range(20, 30)]
    looks += [look(60 + at, None, CHANCE.uniform(0, 90, ROUGH).astype(np.float32)) for at in range(5)]
    looks += [look(65 + at, None, HOME) for at in range(30)]
    assert shown(looks)[20:30] == ["unread"] * 10
    assert shown(looks)[60:] == [*["unread"] * 5, *["other"] * 30]


def test_a_film_that_ends_in_unrest_shows_no_home_screen() -> None:
    looks = [look(at, 1 + at // 3) for at in range(60)]
    looks += [look(60 + at, None, CHANCE.uniform(0, 200, ROUGH).astype(np.float32)) for at in range(30)]
    assert shown(looks)[60:] == ["unread"] * 30


def test_a_screen_that_goes_dark_again_was_not_the_home_screen_yet() -> None:
    """A film frame between the last picture and the dark can look like the home screen by chance."""
    looks = [look(at, 1 + at // 3) for at in range(60)]
    looks += [look(60, None, HOME), *(look(61 + at, None, GROUND) for at in range(6))]
    looks += [look(67 + at, None, HOME) for at in range(40)]
    assert shown(looks)[60:] == ["unread", *["black"] * 6, *["other"] * 40]
