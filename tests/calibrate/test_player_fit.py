"""Which player was filmed: against the literal player of every generation, with costs that the fit does not know."""

from __future__ import annotations

import pytest

from film_series import Camera, Start
from keyturn.calibrate.film_stretches import Time, runs_of, times_of
from keyturn.calibrate.film_timeline import timeline
from keyturn.calibrate.player_fit import PlayerFit, fits


def filmed(*starts: Start, fps: float = 30, speed: float = 1.0) -> tuple[PlayerFit, ...]:
    """Return what fits films of these starts, two of each."""
    times: list[Time] = []
    for start in starts:
        films = [
            Camera(fps, uneven=0.02, unread=0.03, lost=0.01, seed=seed, speed=speed).film(start) for seed in (1, 2)
        ]
        times += times_of([runs_of(timeline(film)) for film in films])
    return fits(times)


COSTS = {
    "usual": {},
    "dear": {"plain_ms": 120.0, "detailed_ms": 150.0},
    "quick": {"plain_ms": 5.0, "detailed_ms": 24.0},
}


@pytest.mark.parametrize("generation", [1, 2, 3, 4])
@pytest.mark.parametrize("seconds", [False, True])
@pytest.mark.parametrize("costs", COSTS)
def test_pacing_pauses_and_decoding_are_those_of_the_literal_player(generation: int, seconds: bool, costs: str) -> None:
    found = filmed(Start(generation=generation, seconds=seconds, **COSTS[costs]))  # type: ignore[arg-type]
    assert found, "no player fits"
    assert {fit.kind.pacing for fit in found} == {"additive" if generation == 1 else "fixed-beat"}
    assert {fit.kind.pause_unit for fit in found} == {"seconds" if seconds else "frames"}
    assert found[0].kind.decodes == "first-play"


@pytest.mark.parametrize("generation", [1, 3])
@pytest.mark.parametrize("costs", COSTS)
def test_the_costs_are_those_of_the_literal_player(generation: int, costs: str) -> None:
    start = Start(generation=generation, **COSTS[costs])  # type: ignore[arg-type]
    fit = filmed(start, fps=60)[0]
    for cost, true_ms in ((fit.draw, start.draw_ms), (fit.plain, start.plain_ms), (fit.detailed, start.detailed_ms)):
        if cost is not None:
            assert cost.seconds * 1000 == pytest.approx(true_ms, abs=3 * cost.error * 1000 + 0.5)
    if generation == 1:
        assert fit.draw and fit.plain and fit.detailed
    else:
        assert fit.plain and fit.detailed


def test_what_cannot_be_told_from_one_rate_is_left_open_and_a_second_rate_tells_it() -> None:
    """A player that decodes in every play takes as long for each frame on both kinds of pacing."""
    slow = {"every_play": True, "plain_ms": 120.0, "detailed_ms": 150.0}
    one = Start(generation=2, fps=10, **slow)  # type: ignore[arg-type]
    assert {fit.kind.pacing for fit in filmed(one)} == {"additive", "fixed-beat"}
    two = Start(generation=2, fps=5, **slow)  # type: ignore[arg-type]
    assert {fit.kind.pacing for fit in filmed(one, two)} == {"fixed-beat"}


def test_a_count_of_plain_frames_alone_leaves_all_open() -> None:
    found = filmed(Start(frames=25, boot_ms=9_000, generation=3))
    assert len({fit.kind for fit in found}) == 12


@pytest.mark.parametrize("speed", [8.0, 4.0, 0.5])
def test_a_film_that_is_not_at_its_true_speed_fits_no_player(speed: float) -> None:
    """Phones film 240 frames a second and give them out as 30: a frame of the radio then seems to take 0.94 s."""
    assert filmed(Start(), fps=30 * speed, speed=speed) == ()
