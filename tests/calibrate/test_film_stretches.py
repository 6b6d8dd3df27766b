"""Intervals and the times between stretches, against the literal player that made the series."""

from __future__ import annotations

import pytest

from film_series import Camera, Start
from keyturn.calibrate.film_stretches import interval_line, runs_of, times_of
from keyturn.calibrate.film_timeline import timeline

CAMERAS = [
    Camera(),
    Camera(fps=24, seed=1),
    Camera(fps=60, unread=0.1, seed=2),
    Camera(uneven=0.4, lost=0.05, unread=0.05, seed=3),
    Camera(fps=29.97, lost=0.1, seed=4),
]


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("start", [Start(), Start(fps=15), Start(generation=3), Start(generation=2, plain_ms=130)])
def test_the_interval_is_within_one_percent(camera: Camera, start: Start) -> None:
    """The true interval is that of the literal player's own clock."""
    shown = [
        at for at, what, number in start.shown() if what == "frame" and number and number > start.plan.parts[2].first
    ]
    true_s = (shown[-1] - shown[0]) / (len(shown) - 1)
    line = interval_line([runs_of(timeline(camera.film(start)))], "plain")
    assert line is not None
    assert line.slope == pytest.approx(true_s, rel=0.01)
    assert abs(line.slope - true_s) <= max(3 * line.error, 1e-6)


def test_every_time_of_the_stick_is_measured() -> None:
    """Additive, 10 fps: 100 ms after 4 ms of drawing, 14 or 31 ms of decoding in the first play, and a pause of 100."""
    films = [runs_of(timeline(Camera(fps=60, seed=seed).film(Start(boot_ms=17_000 + 371 * seed)))) for seed in range(4)]
    true = {
        ("plain", None): 0.118,
        ("detailed", None): 0.135,
        ("again", None): 0.104,
        ("plain", "detailed"): 0.135,
        ("detailed", "again"): 0.204,
        ("again", "plain"): 0.218,
    }
    found = {(time.work, time.after): time for time in times_of(films)}
    assert set(found) == set(true)
    for key, time in found.items():
        assert abs(time.seconds - true[key]) <= 3 * time.error + 1e-4, key
        assert time.error < 0.005


def test_a_frame_that_the_radio_held_is_named_and_does_not_move_the_interval() -> None:
    start = Start(holds={"2/0020.png": 700.0})  # frame 50 of the stick comes late, so 49 stands longer
    film = runs_of(timeline(Camera(uneven=0.1).film(start)))
    (odd,) = film.oddities
    assert (odd.number, odd.skipped) == (49, 0)
    assert odd.held_s == pytest.approx(0.7, abs=0.04)
    line = interval_line([film], "plain")
    assert line is not None and line.slope == pytest.approx(0.118, rel=0.001)


def test_frames_that_the_film_lost_are_not_the_radio_s_fault() -> None:
    film = runs_of(timeline(Camera(lost=0.3, seed=5).film(Start())))
    assert film.oddities == ()


def test_frames_that_the_radio_skipped_are_counted() -> None:
    film = Camera().film(Start(holds={}))
    skipping = [f for f in film.frames if f.number not in (60, 61)]
    gone = [f for f in film.frames if f.number in (60, 61)]
    lost_s = gone[-1].at_s - gone[0].at_s + 1 / 30
    moved = tuple(
        f if f.at_s < gone[0].at_s else type(f)(f.at_s - lost_s, f.shows, f.number, f.confidence) for f in skipping
    )
    (odd,) = runs_of(timeline(type(film)(film.film, film.plan, moved, film.screen, None, ()))).oddities
    assert (odd.number, odd.skipped, odd.held_s) == (59, 2, 0.0)
