"""The order of a filmed start: what came when, and films that do not show a whole start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from film_series import Camera, Start
from keyturn.calibrate.film_frames import FilmFrame, FilmReading
from keyturn.calibrate.film_timeline import timeline
from keyturn.calibrate.stick_plan import OVER
from keyturn.shop.reasons import Refused

START = Start(boot_ms=12_300.0)
FILM = Camera().film(START)


@pytest.mark.parametrize("fps", [24, 29.97, 30, 60])
@pytest.mark.parametrize("uneven", [0.0, 0.3])
@pytest.mark.parametrize("generation", [1, 2, 3, 4])
def test_the_boot_is_within_one_film_frame(fps: float, uneven: float, generation: int) -> None:
    start = Start(generation=generation, boot_ms=12_300.0)
    for seed in range(5):
        film = Camera(fps=fps, uneven=uneven, unread=0.05, lost=0.02, seed=seed).film(start)
        told = timeline(film)
        boot_s = told.cut.middle - told.first.middle
        assert boot_s == pytest.approx(start.boot_s, abs=(told.cut.width + told.first.width) / 2 + 1e-6)
        assert told.home == told.cut
        if not film.frames[-1].number and told.cut.width <= 1 / fps and told.first.width <= 1 / fps:
            assert boot_s == pytest.approx(start.boot_s, abs=1 / fps)


def test_frames_have_their_places_in_the_order_of_playing() -> None:
    told = timeline(Camera(fps=120).film(START))
    assert [c.place for c in told.counted] == list(range(len(told.counted)))
    assert [c.number for c in told.counted[:52]] == [*range(1, 21), *range(21, 31), *range(21, 31), *range(31, 43)]
    assert [c.play for c in told.counted[20:40]] == [0] * 10 + [1] * 10
    assert told.hidden == frozenset() and not told.over


def test_black_before_frame_1_is_seen_where_it_is_and_the_logo_is_timed() -> None:
    black = timeline(Camera(fps=60).film(Start(generation=2, plain_ms=80)))
    assert black.black_s == pytest.approx(0.084, abs=2 / 60)
    assert timeline(Camera(fps=60).film(Start(generation=3, plain_ms=80))).black_s == 0.0
    assert black.logo_s == pytest.approx(3.0, abs=2 / 60)


def test_a_hand_over_the_first_frame_leaves_black_unknown_and_one_over_a_repeat_leaves_it_out() -> None:
    film = Camera(hand=(-0.2, 0.3)).film(START)
    assert timeline(film).black_s is None
    part_1 = Camera(hand=(3.0, 4.2)).film(START)
    assert timeline(part_1).hidden == {1}


def test_what_comes_after_the_count_is_over() -> None:
    start = Start(generation=3, boot_ms=9_000, frames=60)
    told = timeline(Camera().film(start))
    assert told.over and told.counted[-1].number == 60
    assert told.cut.middle - told.first.middle == pytest.approx(start.boot_s, abs=1 / 30)
    assert OVER not in {c.number for c in told.counted}


def without(*shows: str) -> Callable[[FilmReading], FilmReading]:
    return lambda film: replace(film, frames=tuple(f for f in film.frames if f.shows not in shows))


def jumbled(film: FilmReading) -> FilmReading:
    frames = list(film.frames)
    frames[200], frames[260] = replace(frames[200], number=frames[260].number), replace(frames[260], number=31)
    return replace(film, frames=tuple(frames))


def twice(film: FilmReading) -> FilmReading:
    end = film.frames[-1].at_s + 1 / 30
    return replace(film, frames=(*film.frames, *(replace(f, at_s=f.at_s + end) for f in film.frames)))


def standing_still(film: FilmReading) -> FilmReading:
    return replace(film, frames=(*film.frames[:50], replace(film.frames[50], at_s=film.frames[49].at_s)))


def dark_at_the_cut(film: FilmReading) -> FilmReading:
    last = max(f.at_s for f in film.frames if f.shows == "frame")
    kept = [FilmFrame(f.at_s, "unread", None, 0.1) if abs(f.at_s - last) < 0.3 else f for f in film.frames]
    return replace(film, frames=tuple(kept))


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (without("frame"), "film-without-count"),
        (without("logo"), "film-starts-late"),
        (without("other"), "film-ends-early"),
        (jumbled, "film-goes-back"),
        (twice, "film-of-two-starts"),
        (standing_still, "film-times-wrong"),
        (dark_at_the_cut, "film-hides-the-cut"),
    ],
)
def test_a_film_that_does_not_show_one_whole_start_is_refused(
    spoil: Callable[[FilmReading], FilmReading], code: str
) -> None:
    with pytest.raises(Refused) as caught:
        timeline(spoil(FILM))
    (reason,) = caught.value.reasons
    assert (reason.code, reason.file) == (code, "start.mp4")
    assert "film the whole start anew" in reason.mend
