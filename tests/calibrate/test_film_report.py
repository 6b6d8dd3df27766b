"""What is said of the films: each fact as it was filmed, and everything that they leave open."""

from __future__ import annotations

from dataclasses import replace

from calibration_samples import ADDITIVE
from film_series import Camera, Start
from keyturn.calibrate.film_learning import FilmLearnt, learn_films
from keyturn.calibrate.film_report import describe_films, doubts, facts
from keyturn.shop.reasons import note


def learnt(*starts: Start, fps: float = 60) -> FilmLearnt:
    return learn_films(ADDITIVE, [Camera(fps, seed=n).film(start, f"s{n}.mp4") for n, start in enumerate(starts)])


def words(told: FilmLearnt) -> dict[str, str]:
    return {fact.title: fact.words for fact in facts(told)}


def test_facts_are_those_that_were_filmed() -> None:
    costs = {"plain_ms": 60.0, "detailed_ms": 85.0}
    told = learnt(*(Start(boot_ms=boot, **costs) for boot in (12_930.0, 13_555.0, 12_204.0)))  # type: ignore[arg-type]
    said = words(told)
    assert said["Boot"].startswith("12.1") and "13.49 s from frame 1 to the home screen in 3 starts" in said["Boot"]
    assert said["A frame at 10 fps"].startswith("164.0 ms, give or take")
    assert said["Pacing"].startswith("additive") and said["Pauses"] == "desc.txt's pauses are counted in frames"
    assert said["Decoding a plain frame"].startswith("60 ms") and said["Decoding a detailed frame"].startswith("85 ms")
    assert said["Behaves like"] == "the player of the first generation"
    assert said["Before frame 1"].startswith("black for up to")
    lines = describe_films(replace(told, banding=True))
    assert lines[0] == "tall-768x1024: 3 starts on film at 10 fps"
    assert "Colours: 16 bits: fine steps of colour are seen as bands" in lines
    assert any(line.startswith("  s0.mp4: logo for 3.0 s") for line in lines)


def test_what_the_films_leave_open_is_said_with_what_would_tell_it() -> None:
    slow = Start(generation=2, every_play=True, plain_ms=120, detailed_ms=150, boot_ms=12_930)
    told = learnt(slow, fps=30)
    said = "\n".join(doubts(replace(told, notes=(note("film-dark", "it is dark", "shade it", file="s0.mp4"),))))
    assert "s0.mp4: it is dark -> shade it" in said
    assert "One start does not show" in said
    assert "keyturn calibrate tall-768x1024 --fps 5" in said
    assert "killed or asks" in said and "What drawing alone takes is not told" in said
    assert words(told)["Pacing"] == "not told by these films"


def test_generations_that_look_alike_are_both_named() -> None:
    told = learnt(Start(generation=4, plain_ms=60, detailed_ms=85, boot_ms=12_930))
    assert words(told)["Behaves like"] == "the player of the third or fourth generation"
    assert "The third and fourth generation all do this: which one it is stays open." in doubts(told)


def test_what_no_published_player_does_is_said() -> None:
    told = learnt(Start(boot_ms=12_930))
    told = replace(told, seen=replace(told.seen, black_first=False, pause_unit="none"))
    assert words(told)["Behaves like"] == "no published player"
    said = "\n".join(doubts(told))
    assert "No published player does all of this" in said and "left out the stick's pauses" in said


def test_frames_that_were_held_are_named() -> None:
    told = learnt(Start(boot_ms=12_930, holds={"2/0020.png": 700.0}))
    assert any("held frame 49 for 0.7" in doubt for doubt in doubts(told))


def test_a_gap_between_the_cut_and_the_home_screen_is_said() -> None:
    film = Camera(60).film(Start(boot_ms=12_930))
    cut = next(f.at_s for f in film.frames if f.shows == "other")
    dark = tuple(replace(f, shows="black") if cut <= f.at_s < cut + 1 else f for f in film.frames)
    told = learn_films(ADDITIVE, [replace(film, frames=dark)])
    assert any("1.0 s lie between the last frame and the home screen" in doubt for doubt in doubts(told))
