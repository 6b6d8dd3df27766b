"""The generation a filmed radio behaves like, against the literal player of each generation."""

from __future__ import annotations

import pytest

from film_series import Camera, Start
from keyturn.calibrate.film_stretches import interval_line, runs_of, times_of
from keyturn.calibrate.film_timeline import timeline
from keyturn.calibrate.player_fit import fits
from keyturn.calibrate.player_seen import PlayerSeen, held_at_the_end_s, player_seen


def seen(*starts: Start, fps: float = 60) -> PlayerSeen:
    films = [runs_of(timeline(Camera(fps, uneven=0.05, seed=n).film(start))) for n, start in enumerate(starts)]
    line = interval_line(films, "plain")
    assert line is not None
    return player_seen(fits(times_of(films)), [film.timeline for film in films], [line.slope] * len(films))


def several(generation: int, count: int = 6, **more: float) -> list[Start]:
    costs = {"plain_ms": 60.0, "detailed_ms": 85.0} | more
    return [Start(generation=generation, boot_ms=12_930 + 371.3 * n, **costs) for n in range(count)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("generation", "could_be"), [(1, ("first",)), (2, ("second",)), (3, ("third", "fourth")), (4, ("third", "fourth"))]
)
def test_the_generation_is_among_those_that_behave_like_it(generation: int, could_be: tuple[str, ...]) -> None:
    """Third and fourth differ only in a pause at the end of the boot: where none was filmed, both stay possible."""
    told = seen(*several(generation))
    assert told.generations == could_be
    assert told.pacing == ("additive" if generation == 1 else "fixed-beat")
    assert told.black_first == (generation <= 2)


def test_a_player_that_is_killed_and_one_that_asks_are_told_apart() -> None:
    assert seen(*several(1)).boot_end == "killed"
    # with 90 ms of decoding in a beat of 100, a player that asks always cuts within 10 ms after its last frame came
    asked = seen(*several(3, 8, plain_ms=90.0, detailed_ms=95.0), fps=120)
    assert asked.boot_end in ("asked", None)
    assert "killed" not in {seen(*several(generation)).boot_end for generation in (2, 3, 4)}


def test_a_last_frame_that_is_gone_at_once_is_not_taken_for_a_kill() -> None:
    """A player of fixed beat asks when a frame's work has taken its whole time: that frame is seen by no film."""
    slow = several(3, 4, plain_ms=66.0, detailed_ms=70.0)
    starts = [Start(generation=3, fps=20, boot_ms=s.boot_ms, plain_ms=66.0, detailed_ms=70.0) for s in slow]
    assert seen(*starts, fps=30).boot_end != "killed"


def test_a_start_on_film_alone_does_not_tell_how_the_boot_ends() -> None:
    assert seen(Start(generation=3, boot_ms=12_930)).boot_end is None


def test_a_pause_that_ends_with_the_boot_is_that_of_the_fourth() -> None:
    """AOSP 14 breaks a pause off in steps of 50 ms. The stick's pause of a second follows frame 30."""
    long = {"seconds": True, "draw_ms": 2.0, "plain_ms": 90.0, "detailed_ms": 95.0}
    usual = [Start(generation=4, boot_ms=12_930 + 371.3 * n, **long) for n in range(8)]  # type: ignore[arg-type]
    in_pause = Start(generation=4, boot_ms=5_420.0, **long)  # type: ignore[arg-type]
    told = seen(*usual, in_pause, fps=120)
    assert told.pause_check_ms in (50, None)
    assert set(told.generations) <= {"third", "fourth"} and "fourth" in told.generations


def test_black_is_left_open_where_a_film_is_too_slow_to_show_it() -> None:
    assert seen(*several(3, 2, plain_ms=10.0, detailed_ms=30.0), fps=30).black_first is None


def test_a_last_frame_that_stands_too_long_is_noticed() -> None:
    film = timeline(Camera(60).film(Start(boot_ms=12_930)))
    assert held_at_the_end_s(film, 0.118) == 0.0
    assert held_at_the_end_s(film, 0.01) > 0.0


def test_facts_that_no_published_player_shows_together_leave_no_generation() -> None:
    assert PlayerSeen(pacing="additive", black_first=False).generations == ()
    assert PlayerSeen().generations == ("first", "second", "third", "fourth")
    assert PlayerSeen(pause_check_ms=50).generations == ("fourth",)
    assert PlayerSeen(pacing="additive", pause_unit="seconds").facts == {"pacing": "additive"}
