"""What films of starts teach, against the literal player; and films that contradict each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration_samples import ADDITIVE, FIXED
from film_series import Camera, Start
from keyturn.calibrate.film_frames import FilmReading
from keyturn.calibrate.film_learning import FilmLearnt, learn_films
from keyturn.shop.player_facts import GENERATIONS
from keyturn.shop.reasons import Refused, note

BOOTS = (12_930.0, 13_555.0, 12_204.0)


def films_of(*starts: Start, camera: Camera | None = None) -> list[FilmReading]:
    camera = camera or Camera(uneven=0.2, unread=0.04, lost=0.03)
    return [replace(camera, seed=n).film(start, f"start{n}.mp4") for n, start in enumerate(starts)]


def learnt(**start: object) -> tuple[FilmLearnt, list[Start]]:
    starts = [Start(boot_ms=boot, **start) for boot in BOOTS]  # type: ignore[arg-type]
    return learn_films(ADDITIVE, films_of(*starts)), starts


@pytest.mark.parametrize("generation", [1, 2, 3, 4])
@pytest.mark.parametrize("fps", [8, 15])
def test_boots_are_within_a_film_frame_and_the_interval_within_one_percent(generation: int, fps: int) -> None:
    told, starts = learnt(generation=generation, fps=fps)
    for filmed, start in zip(told.starts, starts, strict=True):
        width = filmed.timeline.cut.width
        assert filmed.boot_s == pytest.approx(start.boot_s, abs=max(1 / 30, width))
        assert abs(filmed.boot_s - start.boot_s) < 4 * filmed.error_s
    (rate,) = told.rates
    true_s = 1 / fps + 0.018 if generation == 1 else 1 / fps  # 4 ms of drawing and 14 ms of decoding; AOSP, see FORMAT
    assert rate.line.slope == pytest.approx(true_s, rel=0.01)
    assert told.seen.pacing == ("additive" if generation == 1 else "fixed-beat")


def test_what_the_readers_say_of_a_film_is_kept() -> None:
    films = films_of(Start(boot_ms=12_930))
    doubt = note("film-dark", "it is dark", file="start0.mp4")
    told = learn_films(FIXED, [replace(films[0], doubts=(doubt,), banding=True)])
    assert told.notes == (doubt,) and told.banding is True
    assert learn_films(FIXED, films).banding is None


def test_sticks_of_two_rates_teach_together() -> None:
    slow = {"generation": 2, "every_play": True, "plain_ms": 120.0, "detailed_ms": 150.0}
    starts = [Start(fps=fps, boot_ms=12_930, **slow) for fps in (10, 5)]  # type: ignore[arg-type]
    told = learn_films(ADDITIVE, films_of(*starts))
    assert [rate.fps for rate in told.rates] == [5, 10]
    assert told.seen.pacing == "fixed-beat"


def refusals(*films: FilmReading) -> list[tuple[str, str | None]]:
    with pytest.raises(Refused) as caught:
        learn_films(ADDITIVE, films)
    return [(reason.code, reason.file) for reason in caught.value.reasons]


def test_the_same_film_does_not_count_twice() -> None:
    film = films_of(Start(boot_ms=12_930))[0]
    assert refusals(film, replace(film, film="copy.mp4")) == [("film-doubled", "copy.mp4")]


def test_a_film_of_another_radio_or_at_another_speed_is_named() -> None:
    films = films_of(*(Start(boot_ms=boot) for boot in BOOTS))
    other = Camera(seed=9).film(Start(boot_ms=12_930, plain_ms=40), "other.mp4")
    assert refusals(*films, other) == [("film-unlike-others", "other.mp4")]
    slow = Camera(fps=36, speed=1.2, seed=9).film(Start(boot_ms=12_930), "slow.mp4")
    assert refusals(*films, slow) == [("film-unlike-others", "slow.mp4")]
    fast = Camera(fps=25, speed=0.7, seed=9).film(Start(boot_ms=12_930), "fast.mp4")
    assert ("film-too-fast", "fast.mp4") in refusals(*films, fast)


def test_slow_motion_fits_no_player() -> None:
    slow = films_of(*(Start(boot_ms=boot) for boot in BOOTS), camera=Camera(fps=240, speed=8))
    assert {code for code, _ in refusals(*slow)} == {"film-fits-no-player"}


def test_all_films_that_cannot_be_used_are_named_at_once() -> None:
    good, late, early = films_of(*(Start(boot_ms=boot) for boot in BOOTS))
    late = replace(late, frames=tuple(f for f in late.frames if f.shows != "logo"))
    early = replace(early, frames=tuple(f for f in early.frames if f.shows != "other"))
    found = refusals(good, late, early)
    assert found == [("film-starts-late", "start1.mp4"), ("film-ends-early", "start2.mp4")]


def test_a_film_of_which_hardly_a_frame_was_read_tells_nothing() -> None:
    (film,) = films_of(Start(boot_ms=12_930))
    last = max(frame.number or 0 for frame in film.frames if frame.shows == "frame")
    kept = (None, 1, 2, last - 1, last)
    few = [f if f.shows != "frame" or f.number in kept else replace(f, shows="unread") for f in film.frames]
    assert refusals(replace(film, frames=tuple(few))) == [("film-too-short", "start0.mp4")]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60))
def test_nothing_is_learnt_wrongly_from_any_radio_and_camera(seed: int) -> None:
    """Radios, costs, boots and cameras by chance; the truth is the literal player's. What is open is no fault."""
    dice = np.random.default_rng(seed)
    plain_ms = dice.uniform(4, 70)
    radio = Start(
        generation=int(dice.integers(1, 5)),
        fps=int(dice.choice([5, 8, 10, 12, 15, 20, 25])),
        draw_ms=dice.uniform(1, 12),
        plain_ms=plain_ms,
        detailed_ms=plain_ms + dice.uniform(2, 60),
        seconds=bool(dice.random() < 0.3),
        frames=700,
    )
    starts = [replace(radio, boot_ms=dice.uniform(9_000, 25_000)) for _ in range(int(dice.integers(1, 6)))]
    camera = Camera(
        fps=float(dice.choice([24, 25, 29.97, 30, 50, 60])),
        uneven=float(dice.choice([0, 0.02, 0.3])),
        lost=dice.uniform(0, 0.05),
        unread=dice.uniform(0, 0.05),
        hand=(4.0, 4.5) if dice.random() < 0.3 else (0, 0),
    )
    try:
        told = learn_films(ADDITIVE, films_of(*starts, camera=camera))
    except Refused as refused:
        assert {reason.code for reason in refused.reasons} == {"film-hides-the-cut"}
        return
    came = [at for at, what, n in starts[0].shown() if what == "frame" and n and radio.plan.parts[2].first < n <= 700]
    assert told.rates[0].line.slope == pytest.approx((came[-1] - came[0]) / (len(came) - 1), rel=0.01)
    for filmed in told.starts:
        start = starts[int(filmed.timeline.film[5:-4])]
        assert filmed.boot_s == pytest.approx(start.boot_s, abs=max(1 / 30, 1.3 / camera.fps))
    truth = {
        "pacing": "additive" if radio.generation == 1 else "fixed-beat",
        "decodes": "first-play",
        "boot_end": "killed" if radio.generation == 1 else "asked",
        "black_first": radio.generation <= 2,
        "pause_unit": "seconds" if radio.seconds else "frames",
    }
    for fact, true in truth.items():
        assert getattr(told.seen, fact) in (None, true), fact
    assert GENERATIONS[radio.generation - 1] in told.seen.generations
